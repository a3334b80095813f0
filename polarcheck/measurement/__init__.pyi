from .conditions import Conditions, Reading
from .measurement import Measurement, SiteCost, measure, measure_frames
from .plausibility import low_notice, too_low
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
    "Reading",
    "SiteCost",
    "alignment_from",
    "low_notice",
    "measure",
    "measure_frames",
    "too_low",
]
