"""What came after a finding: frames, turns said or supposed, and whether the turn is over.

A turn is over when as many frames as were asked for agree. Where the camera takes frame after frame meanwhile, only
those count between which the field stood still, two at least; and if the axis is not where all that was asked for
should have carried it, it must rest for a minute, for the hand may be on its way to the other knob. Turns count as made
as advised, unless an answer says otherwise or the axis went elsewhere for two frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np

from polarcheck.errors import PolarcheckError
from polarcheck.followup import Followed, follow_frames
from polarcheck.frames import Frame, FrameSet
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
_AT_REST_S = (
    20.0,
    60.0,
)  # for which an axis must rest that is not clearly where all turns should have carried it:
# one knob, two knobs; common practice, no source
_AS_TOLD = 1.5, 0.35  # arcmin, and share of the move, by which it may miss what was foretold
_MAY_BE = 6.0, 0.6  # the same, with what play takes up and a hand misses
_CLEARER = 2.0  # times nearer, so that all of a turn is told from one knob's part
_RESTING = 4  # frames that came before a turn and are kept
_WAITED_S = 120.0  # in which a small turn will have been made
_LOST = 8.0, 1.0  # sigmas, and arcmin, that a move must have to stand out
_MOST, _MOST_OF_A_PLACE = 12, 4  # frames that are looked at together
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
    is_running : bool
        Whether the camera takes frame after frame.
    is_moving : bool
        Whether the field moved before the last frame, so that the turn is not over.
    is_felt : bool
        Whether it did so at all since the finding: a hand was on a knob.
    unmoved : int
        Frames that came before any turn.
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
    glimpse : Followed or None
        What a lone frame shows while the axis moves.
    """

    finding: Finding
    wishes: Wishes
    frames: list[Frame] = field(default_factory=list)
    followed: Followed | None = None
    said: Turns | None = None
    written: Turns | None = None
    is_running: bool = False
    is_moving: bool = False
    is_felt: bool = False
    unmoved: int = 0
    held: Frame | None = None
    resting: list[Frame] = field(default_factory=list)
    is_unknown: bool = False
    refused: int = 0
    turned: Turns | None = None
    glimpse: Followed | None = None

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

    def asks_place(self, seen: Shown) -> bool:
        """Whether a frame stands where the advice wants one, and no knob is to be turned."""
        return self.finding.action == "frames" and self._is_at_place(seen)

    def _is_at_place(self, seen: Shown) -> bool:
        asked = self.finding.correction.next.frames_deg
        return any(abs(seen.turn_deg - turn) < SAME_PLACE_DEG for turn in asked)

    def asks_for(self, frame: Frame, seen: Shown) -> bool:
        """Whether a frame that shows no move counts as one that the advice asked for."""
        advice = self.finding.correction.next
        at_place = self._is_at_place(seen)
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
        is_first = self.unmoved == 1 and self.finding.action == "turn"
        is_lone = is_first and self._is_at_place(seen) and self.may_be_swallowed
        self.held = frame if is_lone else None
        waited = seconds_between(self.finding.utc, frame.utc) >= _WAITED_S
        is_hidden = self.may_be_swallowed or self._is_lost_in_noise(seen)
        if waited and len(self.resting) == _RESTING and is_hidden:
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

    def moves(self, frame: Frame) -> None:
        """The field moved before a frame, and not by a turn in right ascension: what stood before is over."""
        self.is_moving, self.is_felt, self.held = True, True, None
        self.frames, self.followed = [], None
        with suppress(PolarcheckError):
            self.glimpse = follow_frames(self.finding.alignment, FrameSet((frame,), ()))

    def stands(self, frames: Sequence[Frame]) -> None:
        """Take frames in, of which the last is still to be added, between which nothing moved."""
        self.is_moving, self.glimpse = False, None
        known = [one for one in self.frames if not any(one is other for other in frames)]
        self._keep([*known, *frames[:-1]])

    def _keep(self, frames: Sequence[Frame]) -> None:
        most = max(_MOST, _MOST_OF_A_PLACE * len(self.finding.correction.next.frames_deg))
        self.frames = sorted(frames, key=lambda one: sum(one.utc))[-most:]

    def add(self, frame: Frame) -> PolarcheckError | None:
        """Follow the axis with a further frame; return why that cannot be."""
        self.held = None
        if not any(frame is one for one in self.frames):
            self._keep([*self.frames, frame])
        self.turned = self._supposed(frame)
        try:
            self.followed = self._follow(self.turned)
            made = self._made(self.followed)
            if made != self.turned:
                self.turned = made
                self.followed = self._follow(made)
        except PolarcheckError as error:
            self.followed = self._unawares()
            return None if self.followed else error
        return None

    def _made(self, followed: Followed) -> Turns | None:
        """Turns that the axis shows to have been made."""
        if self.said is not None or self.finding.action != "turn" or not self.is_running:
            return self.turned
        for part in self._parts()[1:]:
            if self._miss(followed, part) < 1 and self._is_large(part):
                return part
        return self.told if self._may_be(followed) else None

    def _is_large(self, part: Turns) -> bool:
        """Whether what a part leaves out would have moved the axis by more than play and noise hide."""
        assert self.told is not None
        rest = (self.told[0] - part[0], self.told[1] - part[1])
        expected = expected_move(self.finding.alignment, self.wishes.rig, rest)
        return expected is not None and float(np.hypot(*expected)) > _PLAY_ARCMIN

    def _may_be(self, followed: Followed) -> bool:
        """Whether the axis may be where all that was asked for carried it, play and gain having their share."""
        expected = expected_move(self.finding.alignment, self.wishes.rig, self.told)
        if expected is None:
            return False
        off = np.subtract((followed.moved_azimuth_arcmin, followed.moved_altitude_arcmin), expected)
        return float(np.hypot(*off)) < _MAY_BE[0] + _MAY_BE[1] * float(np.hypot(*expected))

    def _parts(self) -> list[Turns]:
        told = self.told
        if told is None:
            return []
        return [told, (told[0], 0.0), (0.0, told[1])] if all(told) else [told]

    def _miss(self, followed: Followed, turns: Turns) -> float:
        """How far the axis is from where turns should have carried it, 1 for as far as may be."""
        before, rig = self.finding.alignment, self.wishes.rig
        whole, expected = expected_move(before, rig, self.told), expected_move(before, rig, turns)
        if whole is None or expected is None:
            return np.inf
        off = np.subtract((followed.moved_azimuth_arcmin, followed.moved_altitude_arcmin), expected)
        return float(np.max(np.abs(off) / (_AS_TOLD[0] + _AS_TOLD[1] * np.abs(whole))))

    def _on_sky(self, move: Sequence[float] | Array) -> Array:
        """Azimuth about the vertical and altitude as a step on the sky."""
        height = float(np.arcsin(np.clip(self.finding.alignment.axis[2], -1, 1)))
        return np.asarray(np.asarray(move) * np.array([np.cos(height), 1.0]), dtype=np.float64)

    def _supposed(self, frame: Frame) -> Turns | None:
        """As said; else as told where a turn was asked for; else none, unless the axis moved."""
        if self.said is not None:
            return self.said
        if self.finding.action == "turn":
            return self.told
        seen = shown(self.finding.alignment, frame)
        return None if seen is not None and seen.has_moved else (0.0, 0.0)

    def _follow(self, turned: Turns | None) -> Followed:
        before = self.finding.alignment
        expected = None if self.is_running else expected_move(before, self.wishes.rig, turned)
        return follow_latest(before, self.frames, turned, expected)

    def _unawares(self) -> Followed | None:
        """Two frames that agree on a move that nobody foretold: the turns made are not known."""
        if len(self.frames) < 2 or self.turned is None:
            return None
        try:
            followed = self._follow(None)
        except PolarcheckError:
            return None
        if len(followed.frames) < 2:
            return None
        self.turned = None
        return followed

    @property
    def frames_needed(self) -> int:
        """Frames that must agree."""
        asked = max(len(self.finding.correction.next.frames_deg), 1)
        is_unsure = self.is_running or self.finding.action == "stop" or self.turned is None
        return max(asked, 2) if is_unsure else asked

    @property
    def is_over(self) -> bool:
        """Whether the frames are enough, and the hand off the knob."""
        if self.followed is None or self.is_resting:
            return False
        used = self.followed.frames
        offered = self.frames if len(used) > 1 else used  # one of several may be solved wrongly
        return len(offered) >= self.frames_needed and self._reach_all_places(offered)

    @property
    def is_resting(self) -> bool:
        """Whether frames must show still that the axis rests, the camera taking one after the other."""
        if self.is_moving or self.followed is None:
            return True
        if not self.is_running or self._is_all_done(self.followed):
            return self.is_running and len(self.frames) < 2
        used = self.followed.frames
        is_one = self.told is not None and not all(self.told)
        return seconds_between(used[0].utc, used[-1].utc) < _AT_REST_S[0 if is_one else 1]

    def _is_all_done(self, followed: Followed) -> bool:
        """Whether nothing more is to be waited for: all that was asked for, or said, was turned."""
        if self.said is not None or self.finding.action != "turn":
            return True
        told = self.told
        if told is None or self.turned != told:
            return False
        there, *parts = (self._miss(followed, turns) for turns in self._parts())
        return all(part > max(_CLEARER * there, 1.0) for part in parts)

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
