from .error import AxisError, axis_error, interval_factor, side_words
from .saved import kept_text, read_alignment, read_result
from .schema import AirTable, AxisTable, ErrorTable, FrameTable, KeptAlignment, KeptAxis, PoleTable, SiteTable
from .state import Alignment, AlignmentLike, FrameFile, Step, as_alignment
from .systematic import FLEXURE_ARCSEC, Systematic

__all__ = [
    "FLEXURE_ARCSEC",
    "AirTable",
    "Alignment",
    "AlignmentLike",
    "AxisError",
    "AxisTable",
    "ErrorTable",
    "FrameFile",
    "FrameTable",
    "KeptAlignment",
    "KeptAxis",
    "PoleTable",
    "SiteTable",
    "Step",
    "Systematic",
    "as_alignment",
    "axis_error",
    "interval_factor",
    "kept_text",
    "read_alignment",
    "read_result",
    "side_words",
]
