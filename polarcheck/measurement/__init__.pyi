from .conditions import Conditions, Reading
from .costs import SiteCost
from .measurement import measure, measure_frames
from .plausibility import low_notice, too_low
from .pointings import Pointings
from .result import Measurement
from .schema import MeasurementSchema
from .source import Aim, FoundAlignment, alignment_from
from .verdicts import FrameEntry

__all__ = [
    "Aim",
    "Conditions",
    "FoundAlignment",
    "FrameEntry",
    "Measurement",
    "MeasurementSchema",
    "Pointings",
    "Reading",
    "SiteCost",
    "alignment_from",
    "low_notice",
    "measure",
    "measure_frames",
    "too_low",
]
