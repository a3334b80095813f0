from .conditions import Conditions, Reading
from .measurement import Measurement, SiteCost, measure, measure_frames
from .plausibility import above_horizon
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
    "above_horizon",
    "alignment_from",
    "measure",
    "measure_frames",
]
