"""Frames of the mount as it was measured, declination and camera clamped: after a turn, or before it."""

from __future__ import annotations

from polarcheck.frames import Frame
from polarcheck.watch.fields import Shown, relation
from polarcheck.watch.finding import Finding
from polarcheck.watch.places import Places
from polarcheck.watch.standing import Standing
from polarcheck.watch.standpoint import Standpoint
from polarcheck.watch.sweeps import SWEEP, Sweeps
from polarcheck.watch.targets import Targets
from polarcheck.watch.turning import Turning

__all__ = ["AtTheKnobs"]

_TARGET_HERE = 4  # frames of one field, the knobs to be left, that make it a target's

_MOVED = "the field moved since the frame before; it counts if the next one agrees"


class AtTheKnobs:
    """Tells frames after a turn from frames before and during it.

    Parameters
    ----------
    now : Standpoint
        Takes what is found.
    places : Places
        Where the camera stood.
    standing : Standing
        Whether it stood still.
    sweeps : Sweeps
        Takes places that go on with the sweep.
    targets : Targets
        Takes frames of a target.
    """

    def __init__(
        self, now: Standpoint, places: Places, standing: Standing, sweeps: Sweeps, targets: Targets
    ) -> None:
        self._now, self._places, self._standing = now, places, standing
        self._sweeps, self._targets = sweeps, targets

    def look(
        self,
        finding: Finding,
        turning: Turning,
        frame: Frame,
        seen: Shown,
        following: Frame | None = None,
    ) -> None:
        """Take in a frame; another one may lie there, which was taken next."""
        turning.is_running = self._standing.is_running
        if turning.is_running:
            self._look_while_running(finding, turning, frame, seen, following)
        elif turning.is_moving:  # the camera paused since: what moved then is over
            turning.stands([frame])
            self.follow(turning, frame)
        elif turning.frames:
            self._go_on(turning, frame, following)
        elif self._sweeps.may_extend(finding, seen) and self._sweeps.extend(finding, [frame]):
            return
        elif seen.has_moved or turning.asks_for(frame, seen):
            self._now.record()
            self.follow(turning, frame)
        else:
            self._stay(finding, turning, frame, seen)

    def follow(self, turning: Turning, frame: Frame) -> None:
        """Look at the frames after the turn together; where they give nothing they may be a new sweep."""
        if not self._now.follow(turning, frame) and len(turning.frames) >= SWEEP:
            self._sweeps.measure(frame, self._sweeps.run_to(frame))

    def _look_while_running(
        self, finding: Finding, turning: Turning, frame: Frame, seen: Shown, following: Frame | None
    ) -> None:
        """A frame of a camera that goes on all the time: it may count only where the mount stands."""
        standing = self._standing
        if not standing.is_still:
            self._move(turning, frame, seen)
            return
        if turning.is_made_unseen(standing.run, seen):
            turning.moved_utc = frame.utc
            self._now.record()
            turning.moves(frame)
            self._now.note(frame, False, "follow-up", _MOVED)
            return
        new = [one for one in standing.run if turning.counts(one)]
        is_further = not standing.stands_since(finding.utc) and not turning.is_felt
        if is_further and self._sweeps.may_extend(finding, seen) and self._sweeps.extend(finding, new):
            return
        if not (turning.is_felt or turning.frames or seen.has_moved or turning.asks_for(frame, seen)):
            self._stay(finding, turning, frame, seen)
            return
        self._now.record()
        if not turning.counts(frame):
            self._now.note(
                frame, False, "follow-up", "a turn as small as this is given a minute; hands off then"
            )
            return
        turning.stands(new)
        self._go_on(turning, frame, following)

    def _go_on(self, turning: Turning, frame: Frame, following: Frame | None) -> None:
        """A further frame after the turn; where the next one lies there and tells no less, the axis is followed then."""
        is_alike = following is not None and relation(frame, following) == "same field"
        if is_alike and turning.waits_for_a_place:
            turning.keep(frame)
        else:
            self.follow(turning, frame)

    def _move(self, turning: Turning, frame: Frame, seen: Shown) -> None:
        """The field moved before this frame: by a hand on a knob, or by a turn in right ascension."""
        if self._standing.is_slewed and not turning.is_felt and turning.asks_place(seen):
            self._now.record()
            self.follow(turning, frame)
            return
        if not self._standing.is_slewed:
            self._now.record()
            turning.moves(frame)
        self._now.note(frame, False, "follow-up", _MOVED)

    def _stay(self, finding: Finding, turning: Turning, frame: Frame, seen: Shown) -> None:
        """The axis is where it was, and no frame was asked for here."""
        turning.stays(frame, seen)
        if turning.is_hidden:
            self._now.record()
            self.follow(turning, frame)
            return
        place = self._places.last
        if place is not None and finding.action == "stop" and place.count >= _TARGET_HERE:
            place.is_target = True
            self._targets.count(frame, place)
            return
        waits = "; no turn was made yet" if finding.action == "turn" else ""
        self._now.note(frame, False, "follow-up", f"shows the axis where it was{waits}")
