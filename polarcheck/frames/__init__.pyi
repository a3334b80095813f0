from .clock import Clock
from .companions import stem_of
from .finding import Offer, find_frames, is_frame_name, offers
from .frame import Frame, FrameSet, Problem, ProblemKind
from .frame_set import mains, read_frames, read_offer
from .pixels import Image, read_image, read_pixels
from .plate import HIGHEST_ORDER, Plate, fit_plate, sensor_grid
from .reading import load_readers, read_engine_solution, read_frame, read_solution
from .sensor import Sensor, sensor_of
from .sensor_nodes import SENSOR_NODES, SENSOR_WEIGHTS, node_pixels, nodes_from_nine
from .solution import Solution
from .solution_file import SolutionNotes, may_write_solution, solution_path, write_solution
from .star_lists import read_star_pairs, write_engine_header, write_star_list
from .telescope_cards import TelescopeCards
from .unsolved import SolvingHints, read_solving_hints

__all__ = [
    "HIGHEST_ORDER",
    "SENSOR_NODES",
    "SENSOR_WEIGHTS",
    "Clock",
    "Frame",
    "FrameSet",
    "Image",
    "Offer",
    "Plate",
    "Problem",
    "ProblemKind",
    "Sensor",
    "Solution",
    "SolutionNotes",
    "SolvingHints",
    "TelescopeCards",
    "find_frames",
    "fit_plate",
    "is_frame_name",
    "load_readers",
    "mains",
    "may_write_solution",
    "node_pixels",
    "nodes_from_nine",
    "offers",
    "read_engine_solution",
    "read_frame",
    "read_frames",
    "read_image",
    "read_offer",
    "read_pixels",
    "read_solution",
    "read_solving_hints",
    "read_star_pairs",
    "sensor_grid",
    "sensor_of",
    "solution_path",
    "stem_of",
    "write_engine_header",
    "write_solution",
    "write_star_list",
]
