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

from polarcheck.errors import PolarcheckError
from polarcheck.followup import Followed, follow_frames
from polarcheck.frames import Frame, FrameSet
from polarcheck.knobs import expected_move
from polarcheck.times import seconds_between
from polarcheck.watch.answers import Answer
from polarcheck.watch.fields import Shown, shown
from polarcheck.watch.finding import Finding, Wishes, follow_latest
from polarcheck.watch.turns_asked import Turns, TurnsAsked

__all__ = ["SAME_PLACE_DEG", "Turning"]

SAME_PLACE_DEG = 2.0
"""Turns about the axis that are one place."""

_PAUSE_S = 20.0  # between frames, in which knobs can have been turned; common practice, no source
# for which an axis must rest that is not clearly where all turns should have carried it: one knob, two knobs; common
# practice, no source
_AT_REST_S = (20.0, 60.0)
_RESTING = 4  # frames that came before a turn and are kept
# in which a turn that the field need not show will have been made; common practice, no source
_SMALL_TURN_S = 60.0
_WAITED_S = 120.0  # in which a small turn will have been made
_MOST, _MOST_OF_A_PLACE = 12, 4  # frames that are looked at together
_PARTS = {"made": 1.0, "half": 0.5, "none": 0.0}


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
    is_hidden : bool
        Whether a turn was asked for that is too small to stand out, and nobody knows whether it was made.
    refused : int
        Frames that gave no result.
    turned : tuple of float or None
        Turns that the frames were followed with; None where they are not known. [turn]
    glimpse : Followed or None
        What a lone frame shows while the axis moves.
    moved_utc : tuple of float or None
        When the axis was seen to have moved though the field stood; frames up to then do not count.
    waits_for_a_place : bool
        Whether nothing but a frame at another place can end the turn, as it was followed last.
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
    is_hidden: bool = False
    refused: int = 0
    turned: Turns | None = None
    glimpse: Followed | None = None
    moved_utc: tuple[float, float] | None = None
    waits_for_a_place: bool = False
    _asked: TurnsAsked | None = field(default=None, init=False, repr=False)

    @property
    def told(self) -> Turns | None:
        """What the advice asks for; None where nobody knows. [turn]"""
        return self.asked.told

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

    def places_used(self) -> list[tuple[str, float]]:
        """Where the frames stand that show the axis: name, and turn from the last used one before, westward. [deg]"""
        used = self.followed.frames if self.followed else ()
        seen = [(frame.name, shown(self.finding.alignment, frame)) for frame in used]
        return [(name, one.turn_deg) for name, one in seen if one is not None]

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
        is_hidden = self.may_be_swallowed or self.asked.is_lost_in_noise(seen)
        if waited and len(self.resting) == _RESTING and is_hidden:
            self.frames, self.is_hidden = self.resting[:-1], True

    @property
    def may_be_swallowed(self) -> bool:
        """Whether the turn asked for is so small that play may take up all of it."""
        return self.asked.may_be_swallowed

    @property
    def asked(self) -> TurnsAsked:
        """What the advice asks of the knobs."""
        if self._asked is None or self._asked.finding is not self.finding:
            self._asked = TurnsAsked(self.finding, self.wishes.rig)
        return self._asked

    def counts(self, frame: Frame) -> bool:
        """Whether a frame of a camera that runs may be of the time after the turn."""
        if self.moved_utc is not None and seconds_between(self.moved_utc, frame.utc) <= 0:
            return False
        is_small = self.said is None and self.finding.action == "turn" and self.asked.is_small
        return seconds_between(self.finding.utc, frame.utc) > (_SMALL_TURN_S if is_small else 0.0)

    def is_made_unseen(self, run: Sequence[Frame], seen: Shown) -> bool:
        """Whether the axis moved within a run of frames in which the field stood: an earlier one showed it unmoved."""
        was_there = any(one is other for one in run for other in self.resting)
        return was_there and seen.has_moved and not self.frames and not self.is_felt

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

    def keep(self, frame: Frame) -> None:
        """Take a further frame in; the axis is followed with the next one."""
        self.held = None
        if not any(frame is one for one in self.frames):
            self._keep([*self.frames, frame])

    def add(self, frame: Frame) -> PolarcheckError | None:
        """Follow the axis with a further frame; return why that cannot be."""
        self.keep(frame)
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
        return self.asked.made(followed)

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
        is_unsure = self.is_running or self.is_felt or self.finding.action == "stop" or self.turned is None
        return max(asked, 2) if is_unsure else asked

    @property
    def is_answered(self) -> bool:
        """Whether the frames say something, and no hand is on a knob."""
        return self.followed is not None and not self.is_moving

    @property
    def is_enough(self) -> bool:
        """Whether they are as many as were asked for, if not all where they were: it will do when no more come."""
        return self.is_answered and len(self.frames) >= self.frames_needed

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
        if not self.is_running:
            return False
        is_known = self.said is not None or self.finding.action != "turn"
        if is_known or (self.turned == self.told and self.asked.is_all_done(self.followed)):
            return len(self.frames) < 2
        return self.rested_s < self.rest_s

    @property
    def rested_s(self) -> float:
        """For how long the axis has rested. [s]"""
        used = self.followed.frames if self.followed else ()
        return seconds_between(used[0].utc, used[-1].utc) if used else 0.0

    @property
    def rest_s(self) -> float:
        """For how long it must where not all turns are clearly seen. [s]"""
        return _AT_REST_S[0 if len(self.asked.parts) == 1 else 1]

    @property
    def is_half_done(self) -> bool:
        """Whether the axis stands where one knob of the two asked for has carried it."""
        return self.followed is not None and self.said is None and self.turned in self.asked.parts[1:]

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
