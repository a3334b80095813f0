"""What the advice asks of the two knobs, and how much of it an axis shows to have been turned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from polarcheck.followup import Followed
from polarcheck.knobs import expected_move
from polarcheck.rig import Rig
from polarcheck.vectors import Array
from polarcheck.watch.fields import Shown
from polarcheck.watch.finding import Finding, told_by

__all__ = ["Turns", "TurnsAsked"]

_PLAY_ARCMIN = 15.0  # that a move may have which play takes up, or which a hand that turned too little misses
_AS_TOLD = 1.5, 0.35  # arcmin, and share of the move, by which it may miss what was foretold
_MAY_BE = 6.0, 0.6  # the same, with what play takes up and a hand misses
_CLEARER = 2.0  # times nearer, so that all of a turn is told from one knob's part
_SMALL_ARCMIN = 3.0  # of a move that a field need not show while it is made: a worm moves it by as much
_LOST = 8.0, 1.0  # sigmas, and arcmin, that a move must have to stand out

Turns = tuple[float, float]
"""Net turns of the azimuth and the altitude knob, clockwise positive. [turn]"""


@dataclass(frozen=True, slots=True)
class TurnsAsked:
    """The turns that a finding's advice asks for.

    Attributes
    ----------
    finding : Finding
    rig : Rig or None
        What is known of the knobs.
    """

    finding: Finding
    rig: Rig | None
    _moves: dict[Turns | None, tuple[float, float] | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def told(self) -> Turns | None:
        """What is asked for; None where nobody knows. [turn]"""
        return told_by(self.finding.correction)

    @property
    def parts(self) -> list[Turns]:
        """All of it, and each knob's part where both are to be turned; none where nobody knows. [turn]"""
        told = self.told
        if told is None:
            return []
        return [told, (told[0], 0.0), (0.0, told[1])] if all(told) else [told]

    @property
    def may_be_swallowed(self) -> bool:
        """Whether it is so small that play may take up all of it."""
        expected = self._expected(self.told)
        return expected is not None and float(np.hypot(*expected)) < _PLAY_ARCMIN

    @property
    def is_small(self) -> bool:
        """Whether the field need not show while it is made."""
        expected = self._expected(self.told)
        return expected is not None and float(np.linalg.norm(self._on_sky(expected))) < _SMALL_ARCMIN

    def is_lost_in_noise(self, seen: Shown) -> bool:
        """Whether one frame could not tell that it was made."""
        expected = self._expected(self.told)
        if expected is None or not any(expected):
            return False
        move = self._on_sky(expected)
        sigmas = float(np.sqrt(move @ np.linalg.solve(seen.noise, move)))
        return sigmas < _LOST[0] or float(np.linalg.norm(move)) < _LOST[1]

    def made(self, followed: Followed) -> Turns | None:
        """Return what of it the axis shows; None where it shows anything else. [turn]"""
        for part in self.parts[1:]:
            if self._miss(followed, part) < 1 and self._is_large_without(part):
                return part
        expected = self._expected(self.told)
        if expected is None:
            return None
        off = float(np.hypot(*_off(followed, expected)))
        return self.told if off < _MAY_BE[0] + _MAY_BE[1] * float(np.hypot(*expected)) else None

    def is_all_done(self, followed: Followed) -> bool:
        """Whether the axis is where all of it should have carried it, and clearly not where a part would have."""
        if not self.parts:
            return False
        there, *others = (self._miss(followed, turns) for turns in self.parts)
        return there < 1 and all(other > max(_CLEARER * there, 1.0) for other in others)

    def _expected(self, turns: Turns | None) -> tuple[float, float] | None:
        """The move that turns should make; every frame asks for it, so it is worked out once. [arcmin]"""
        if turns not in self._moves:
            self._moves[turns] = expected_move(self.finding.alignment, self.rig, turns)
        return self._moves[turns]

    def _miss(self, followed: Followed, turns: Turns) -> float:
        """How far the axis is from where turns should have carried it, 1 for as far as may be."""
        whole, expected = self._expected(self.told), self._expected(turns)
        if whole is None or expected is None:
            return np.inf
        return float(np.max(np.abs(_off(followed, expected)) / (_AS_TOLD[0] + _AS_TOLD[1] * np.abs(whole))))

    def _is_large_without(self, part: Turns) -> bool:
        """Whether what a part leaves out would have moved the axis by more than play and noise hide."""
        assert self.told is not None
        expected = self._expected((self.told[0] - part[0], self.told[1] - part[1]))
        return expected is not None and float(np.hypot(*expected)) > _PLAY_ARCMIN

    def _on_sky(self, move: Sequence[float]) -> Array:
        """Azimuth about the vertical and altitude as a step on the sky."""
        height = float(np.arcsin(np.clip(self.finding.alignment.axis[2], -1, 1)))
        return np.asarray(np.asarray(move) * np.array([np.cos(height), 1.0]), dtype=np.float64)


def _off(followed: Followed, expected: tuple[float, float]) -> Array:
    return np.asarray(
        np.subtract((followed.moved_azimuth_arcmin, followed.moved_altitude_arcmin), expected),
        dtype=np.float64,
    )
