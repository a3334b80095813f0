from .finding import find_frames, offers
from .frame import Frame, FrameSet, Problem, ProblemKind
from .frame_set import mains, read_frames
from .pixels import Image, read_image, read_pixels
from .reading import read_frame, read_solution
from .sensor import Sensor, sensor_of
from .sensor_nodes import SENSOR_NODES, SENSOR_WEIGHTS, node_pixels
from .solution import Solution
from .telescope_cards import TelescopeCards

__all__ = [
    "SENSOR_NODES",
    "SENSOR_WEIGHTS",
    "Frame",
    "FrameSet",
    "Image",
    "Problem",
    "ProblemKind",
    "Sensor",
    "Solution",
    "TelescopeCards",
    "find_frames",
    "mains",
    "node_pixels",
    "offers",
    "read_frame",
    "read_frames",
    "read_image",
    "read_pixels",
    "read_solution",
    "sensor_of",
]
