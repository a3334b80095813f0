from .axis_now import Followed, follow_frames
from .last_frame import SensorMark, mark_on_sensor
from .mark import StarTarget

__all__ = [
    "Followed",
    "SensorMark",
    "StarTarget",
    "follow_frames",
    "mark_on_sensor",
]
