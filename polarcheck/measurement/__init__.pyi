from .conditions import Conditions, Reading
from .measurement import SAG_ARCSEC, Measurement, measure, measure_frames
from .plausibility import above_horizon
from .source import Aim, alignment_from
from .verdicts import FrameEntry

__all__ = [
    "SAG_ARCSEC",
    "Aim",
    "Conditions",
    "FrameEntry",
    "Measurement",
    "Reading",
    "above_horizon",
    "alignment_from",
    "measure",
    "measure_frames",
]
