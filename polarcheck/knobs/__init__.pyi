from .clamps import ClampShift, clamp_shift
from .correction import Correction, correct
from .expected import expected_move
from .moves import Move, knob_rotation
from .response import Response
from .schema import CorrectionKeys
from .spec import knob_specs, stated_shift
from .writing import kept_knobs, rig_text_with_knobs, rig_text_with_shift

__all__ = [
    "ClampShift",
    "Correction",
    "CorrectionKeys",
    "Move",
    "Response",
    "clamp_shift",
    "correct",
    "expected_move",
    "kept_knobs",
    "knob_rotation",
    "knob_specs",
    "rig_text_with_knobs",
    "rig_text_with_shift",
    "stated_shift",
]
