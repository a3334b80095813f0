from .error import AxisError, axis_error, side_words
from .saved import read_alignment
from .state import Alignment, FrameFile, Step

__all__ = [
    "Alignment",
    "AxisError",
    "FrameFile",
    "Step",
    "axis_error",
    "read_alignment",
    "side_words",
]
