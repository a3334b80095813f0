from .axis_now import Followed, follow_frames
from .from_files import follow
from .last_frame import SensorMark, mark_on_sensor
from .mark import StarTarget
from .schema import CorrectionSchema, FollowedSchema

__all__ = [
    "CorrectionSchema",
    "Followed",
    "FollowedSchema",
    "SensorMark",
    "StarTarget",
    "follow",
    "follow_frames",
    "mark_on_sensor",
]
