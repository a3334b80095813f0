from .advice import Goal, Next
from .amount import hand_amount, near_enough
from .clamps import ClampShift, clamp_shift
from .correction import Correction, Wish, correct, correct_knobs
from .expected import expected_move, told_turns
from .moves import Move, knob_rotation
from .response import Response
from .schema import CorrectionKeys
from .spec import knob_specs, stated_shift
from .writing import KeptKnob, kept_knobs, rig_text_with_knobs, rig_text_with_shift

__all__ = [
    "ClampShift",
    "Correction",
    "CorrectionKeys",
    "Goal",
    "KeptKnob",
    "Move",
    "Next",
    "Response",
    "Wish",
    "clamp_shift",
    "correct",
    "correct_knobs",
    "expected_move",
    "hand_amount",
    "kept_knobs",
    "knob_rotation",
    "knob_specs",
    "near_enough",
    "rig_text_with_knobs",
    "rig_text_with_shift",
    "stated_shift",
    "told_turns",
]
