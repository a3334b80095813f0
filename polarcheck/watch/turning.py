"""What came after a finding: frames, turns said or supposed, and whether the turn is over.

A turn is over when as many frames as were asked for agree. Where the camera takes frame after frame meanwhile, two
must agree at least, and as the advice foretold or for half a minute, for the hand may be on the knob still. What
agrees with nothing before it begins anew. Turns count as made as advised, unless an answer says otherwise or the axis
went elsewhere for two frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from polarcheck.errors import PolarcheckError
from polarcheck.followup import Followed
from polarcheck.frames import Frame
from polarcheck.knobs import expected_move
from polarcheck.times import seconds_between
from polarcheck.vectors import Array
from polarcheck.watch.answers import Answer
from polarcheck.watch.fields import Shown, shown
from polarcheck.watch.finding import Finding, Wishes, follow_latest, told_by

__all__ = ["SAME_PLACE_DEG", "Turning"]

SAME_PLACE_DEG = 2.0
"""Turns about the axis that are one place."""

_PAUSE_S = 20.0  # between frames, in which knobs can have been turned; common practice, no source
_PLAY_ARCMIN = 15.0  # that a move may have which play takes up, or which a hand that turned too little misses
_AT_REST_S = 30.0  # for which an axis that went elsewhere than foretold must rest
_AS_TOLD = 1.5, 0.35  # arcmin, and share of the move, by which it may miss what was foretold
_RESTING = 4  # frames that came before a turn and are kept
_FAR_NEARER = 4.0  # in chi squared, by which an axis must fit a turn better than none
_WAITED_S = 120.0  # in which a small turn will have been made
_LOST = 8.0, 1.0  # sigmas, and arcmin, that a move must have to stand out
_MOST = 12  # frames that are looked at together
_PARTS = {"made": 1.0, "half": 0.5, "none": 0.0}

Turns = tuple[float, float]


@dataclass(slots=True)
class Turning:
    """What came after a finding, up to the next one.

    Attributes
    ----------
    finding : Finding
    wishes : Wishes
    frames : list of Frame
        Taken since, in order of time.
    followed : Followed or None
        What they show so far.
    said : tuple of float or None
        Turns that an answer, or the night's file, tells. [turn]
    written : tuple of float or None
        Turns that the night's file holds. [turn]
    unmoved : int
        Frames that came before any turn: the camera takes one after the other.
    held : Frame or None
        The only one of them, where play may have taken up a turn.
    resting : list of Frame
        The last of those that came before any turn.
    is_unknown : bool
        Whether a turn was asked for that is too small to stand out, and nobody knows whether it was made.
    refused : int
        Frames that gave no result.
    turned : tuple of float or None
        Turns that the frames were followed with; None where they are not known. [turn]
    """

    finding: Finding
    wishes: Wishes
    frames: list[Frame] = field(default_factory=list)
    followed: Followed | None = None
    said: Turns | None = None
    written: Turns | None = None
    unmoved: int = 0
    held: Frame | None = None
    resting: list[Frame] = field(default_factory=list)
    is_unknown: bool = False
    refused: int = 0
    turned: Turns | None = None

    @property
    def told(self) -> Turns | None:
        """What the advice asks for; None where nobody knows. [turn]"""
        return told_by(self.finding.correction)

    @property
    def as_told(self) -> bool:
        """Whether the turns are only taken as advised."""
        return self.said is None

    @property
    def taken(self) -> Turns | None:
        """Turns that count as made; None where none were asked for or said. [turn]"""
        told = self.told
        return self.said or (told if told not in (None, (0.0, 0.0)) else None)

    def take(self, answer: Answer) -> bool:
        """Take what the user says of the turns; return whether it could be."""
        told = self.told
        if answer.turns is not None:
            self.said = answer.turns
        elif told is not None:
            part = _PARTS[answer.kind]
            self.said = (part * told[0], part * told[1])
        else:
            return False
        return True

    def places_deg(self) -> list[float]:
        """Where the frames stand: turns from the last used one before, westward. [deg]"""
        seen = [shown(self.finding.alignment, frame) for frame in self.frames]
        return [one.turn_deg for one in seen if one is not None]

    def asks_for(self, frame: Frame, seen: Shown) -> bool:
        """Whether a frame that shows no move counts as one that the advice asked for."""
        advice = self.finding.correction.next
        at_place = any(abs(seen.turn_deg - turn) < SAME_PLACE_DEG for turn in advice.frames_deg)
        if advice.action == "frames":
            return at_place or abs(seen.turn_deg) > SAME_PLACE_DEG
        if self.said is not None or advice.action == "stop":
            return at_place and advice.action == "turn"
        paused = seconds_between(self.finding.utc, frame.utc) >= _PAUSE_S
        return at_place and not self.unmoved and paused and self.may_be_swallowed

    def stays(self, frame: Frame, seen: Shown) -> None:
        """Take note of a frame that shows no move and was not asked for, by the look of it.

        A lone one may be what a turn that play took up looks like: it is held, until nothing else comes. So may all
        that come after a while where the turn is too small to stand out: then nobody knows whether it was made.
        """
        self.unmoved += 1
        self.resting = [*self.resting, frame][-_RESTING:]
        at_place = any(
            abs(seen.turn_deg - turn) < SAME_PLACE_DEG for turn in self.finding.correction.next.frames_deg
        )
        is_lone = self.unmoved == 1 and self.finding.action == "turn" and at_place and self.may_be_swallowed
        self.held = frame if is_lone else None
        waited = seconds_between(self.finding.utc, frame.utc) >= _WAITED_S
        if waited and len(self.resting) == _RESTING and self._is_lost_in_noise(seen):
            self.frames, self.is_unknown = self.resting[:-1], True

    def _is_lost_in_noise(self, seen: Shown) -> bool:
        expected = expected_move(self.finding.alignment, self.wishes.rig, self.told)
        if expected is None or not any(expected):
            return False
        move = self._on_sky(expected)
        sigmas = float(np.sqrt(move @ np.linalg.solve(seen.noise, move)))
        return sigmas < _LOST[0] or float(np.linalg.norm(move)) < _LOST[1]

    @property
    def may_be_swallowed(self) -> bool:
        """Whether the turn asked for is so small that play may take up all of it."""
        expected = expected_move(self.finding.alignment, self.wishes.rig, self.told)
        return expected is not None and float(np.hypot(*expected)) < _PLAY_ARCMIN

    def add(self, frame: Frame) -> PolarcheckError | None:
        """Follow the axis with a further frame; return why that cannot be."""
        self.held = None
        if not any(frame is one for one in self.frames):
            self.frames = sorted([*self.frames, frame], key=lambda one: sum(one.utc))[-_MOST:]
        self.turned = self._supposed(frame)
        try:
            self.followed = self._follow(self.turned)
            if self.is_unknown and self.said is None and self._is_nearer_to_told(self.followed):
                self.turned = self.told
                self.followed = self._follow(self.turned)
        except PolarcheckError as error:
            self.followed = self._unawares()
            return None if self.followed else error
        return None

    def _is_nearer_to_told(self, followed: Followed) -> bool:
        """Whether the axis is clearly nearer to where the turn should have carried it than to where it was."""
        expected = expected_move(self.finding.alignment, self.wishes.rig, self.told)
        seen = shown(self.finding.alignment, followed.frames[-1])
        if expected is None or seen is None:
            return False
        moved = np.array([followed.moved_azimuth_arcmin, followed.moved_altitude_arcmin])
        there, here = self._on_sky(moved - expected), self._on_sky(moved)
        noise = seen.noise / len(followed.frames)
        return bool(there @ np.linalg.solve(noise, there) + _FAR_NEARER < here @ np.linalg.solve(noise, here))

    def _on_sky(self, move: Sequence[float] | Array) -> Array:
        """Azimuth about the vertical and altitude as a step on the sky."""
        height = float(np.arcsin(np.clip(self.finding.alignment.axis[2], -1, 1)))
        return np.asarray(np.asarray(move) * np.array([np.cos(height), 1.0]), dtype=np.float64)

    def _supposed(self, frame: Frame) -> Turns | None:
        """As said; else as told where a turn was asked for; else none, unless the axis moved."""
        if self.said is not None or self.is_unknown:
            return self.said
        if self.finding.action == "turn":
            return self.told
        seen = shown(self.finding.alignment, frame)
        return None if seen is not None and seen.has_moved else (0.0, 0.0)

    def _expected(self) -> tuple[float, float] | None:
        return expected_move(self.finding.alignment, self.wishes.rig, self.turned)

    def _follow(self, turned: Turns | None) -> Followed:
        before = self.finding.alignment
        expected = expected_move(before, self.wishes.rig, turned)
        return follow_latest(before, self.frames, turned, expected, at_rest=self.unmoved > 0)

    def _unawares(self) -> Followed | None:
        """Two frames that agree on a move that nobody foretold: the turns made are not known.

        Where the camera takes frame after frame, one will do to be shown: the hand is on the knob.
        """
        least = 1 if self.unmoved else 2
        if len(self.frames) < least or self.turned is None:
            return None
        try:
            followed = self._follow(None)
        except PolarcheckError:
            return None
        if len(followed.frames) < least:
            return None
        self.turned = None
        return followed

    @property
    def frames_needed(self) -> int:
        """Frames that must agree."""
        asked = max(len(self.finding.correction.next.frames_deg), 1)
        is_unsure = self.unmoved or self.finding.action == "stop" or self.turned is None
        return max(asked, 2) if is_unsure else asked

    @property
    def is_over(self) -> bool:
        """Whether the frames are enough, and the hand off the knob."""
        if self.followed is None:
            return False
        used = self.followed.frames
        offered = self.frames if len(used) > 1 else used  # one of several may be solved wrongly
        if len(offered) < self.frames_needed or not self._reach_all_places(offered):
            return False
        rested = seconds_between(used[0].utc, used[-1].utc) >= _AT_REST_S
        return not self.unmoved or rested or self._went_as_told(self.followed)

    def _reach_all_places(self, frames: Sequence[Frame]) -> bool:
        """Whether frames stand at as many places as the advice names."""
        asked = len(self.finding.correction.next.frames_deg)
        if asked < 2:
            return True
        places: list[float] = []
        for frame in frames:
            seen = shown(self.finding.alignment, frame)
            if seen is not None and all(abs(seen.turn_deg - place) > SAME_PLACE_DEG for place in places):
                places.append(seen.turn_deg)
        return len(places) >= asked

    def _went_as_told(self, followed: Followed) -> bool:
        expected = self._expected()
        if expected is None:
            return False
        off = np.subtract((followed.moved_azimuth_arcmin, followed.moved_altitude_arcmin), expected)
        return bool((np.abs(off) < _AS_TOLD[0] + _AS_TOLD[1] * np.abs(expected)).all())
