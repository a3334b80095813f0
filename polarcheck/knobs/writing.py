"""What a night taught, written into the rig file; the user's own comments and order stay."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from polarcheck.errors import InputError
from polarcheck.knobs.clamps import ClampShift
from polarcheck.knobs.response import Response
from polarcheck.printable import printable
from polarcheck.rig import Rig, check_rig_text

__all__ = ["KeptKnob", "kept_knobs", "rig_text_with_knobs", "rig_text_with_shift"]

_SURE = 0.1  # relative sigma of a gain that is worth keeping


Sense = Literal["east", "west", "up", "down"]
_KNOBS: tuple[Literal["azimuth", "altitude"], ...] = ("azimuth", "altitude")


@dataclass(frozen=True, slots=True)
class KeptKnob:
    """What is kept of one knob.

    Attributes
    ----------
    name : {"azimuth", "altitude"}
    arcmin_per_turn, arcmin_per_turn_sigma : float
        [arcmin]
    clockwise_moves : {"east", "west", "up", "down"}
    backlash_turns : float or None
        None where no reversal showed it.
    """

    name: Literal["azimuth", "altitude"]
    arcmin_per_turn: float
    arcmin_per_turn_sigma: float
    clockwise_moves: Literal["east", "west", "up", "down"]
    backlash_turns: float | None


def kept_knobs(response: Response, north: bool) -> tuple[KeptKnob, ...]:
    """Return the knobs of which the night taught enough to keep it.

    Cross-talk is not kept: it comes from how level the tripod stood that night.

    Parameters
    ----------
    response : Response
    north : bool
        Whether the pole is the north celestial one: there growing azimuth is towards east.

    Returns
    -------
    tuple of KeptKnob

    Raises
    ------
    InputError
        Nothing was learned, or nothing surely.
    """
    if not response.turns_seen:
        raise InputError(
            "nothing was learned yet: follow a turn, say how many turns that was, keep the result, and correct that",
            ["turned"],
        )
    senses: tuple[tuple[Sense, Sense], tuple[Sense, Sense]] = (
        ("east", "west") if north else ("west", "east"),
        ("up", "down"),
    )
    kept = []
    for i, name in enumerate(_KNOBS):
        gain = float(response.matrix[i, i])
        sigma = float(np.sqrt(response.covariance[3 * i, 3 * i]))  # of an entry on the matrix's diagonal
        if not response.known[i] or sigma > _SURE * abs(gain):
            continue
        play = response.plays[i]
        backlash = float(play.backlash_turns) if play.reversals else None
        kept.append(KeptKnob(name, abs(gain), sigma, senses[i][0 if gain > 0 else 1], backlash))
    if not kept:
        raise InputError("neither knob's gain is surer than 10 % yet; make a larger turn and follow it")
    return tuple(kept)


def rig_text_with_knobs(rig: Rig, knobs: tuple[KeptKnob, ...]) -> str:
    """Return the rig file's text with what was learned of the knobs.

    Raises
    ------
    InputError
        The file cannot be read, or would not be valid any more.
    """
    document = _read(rig.path)
    for knob in knobs:
        table = _table(_table(document, "mount"), knob.name)
        table["arcmin_per_turn"] = _rounded(knob.arcmin_per_turn)
        table["arcmin_per_turn_sigma"] = _rounded(knob.arcmin_per_turn_sigma)
        table["clockwise_moves"] = knob.clockwise_moves
        if knob.backlash_turns is not None:
            table["backlash_turns"] = _rounded(knob.backlash_turns)
    return _written(document, rig.path)


def rig_text_with_shift(rig: Rig, shift: ClampShift) -> str:
    """Return the rig file's text with the shift that tightening makes.

    Raises
    ------
    InputError
        The file cannot be read, or would not be valid any more.
    """
    document = _read(rig.path)
    _table(document, "mount")["clamp_shift_arcmin"] = [
        _rounded(shift.azimuth_arcmin),
        _rounded(shift.altitude_arcmin),
    ]
    return _written(document, rig.path)


def _read(path: Path) -> Any:
    import tomlkit

    try:
        return tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(
            f"{printable(path)}: cannot be read ({printable(error.strerror or error)})"
        ) from None


def _table(parent: Any, name: str) -> Any:
    import tomlkit

    if name not in parent:
        parent[name] = tomlkit.table()
    return parent[name]


def _rounded(value: float) -> float:
    """Four digits: more than any knob repeats."""
    return float(f"{value:.4g}")


def _written(document: Any, path: Path) -> str:
    import tomlkit

    text = tomlkit.dumps(document).rstrip("\n")
    check_rig_text(text, path)  # nothing is written that could not be read again
    return text
