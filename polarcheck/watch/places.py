"""Where the camera stood, one place after the other: what a run of places is, and which frames stand for it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from polarcheck.frames import Frame
from polarcheck.times import seconds_between
from polarcheck.watch.fields import relation

__all__ = ["Place", "Places"]

_KEPT = 60  # places that are remembered, and frames of a target
_SWEEP_S = 2 * 3600.0  # in which a sweep is made
_SURELY_A_TARGET = 8  # frames of one field that no sweep has
_FRAMES_OF_A_PLACE = 2  # that a sweep takes of each of its places: the last ones


@dataclass(slots=True)
class Place:
    """Frames in sequence that show one field.

    Attributes
    ----------
    first : Frame
        With which later ones are compared, so that no drift adds up.
    count : int
        Frames that were taken there.
    is_target : bool
        Whether they are of a target and not for the axis.
    told : int
        How many of them the night's file knows.
    frames : deque of Frame
        The first one and the last ones; of a target, ones spread over all the time.
    """

    first: Frame
    count: int = 1
    is_target: bool = False
    told: int = 0
    frames: deque[Frame] = field(default_factory=deque)
    every: int = 1

    @property
    def is_due_for_a_look(self) -> bool:
        """Whether the count is one at which a drift is worth computing anew: seldom, for it costs."""
        return self.count in (5, 10, 20, 40, 80) or self.count % 100 == 0

    def add(self, frame: Frame) -> None:
        """Count a frame; at most some tens are kept."""
        self.count += 1
        if self.count % self.every == 0:
            self.frames.append(frame)
        if len(self.frames) > _KEPT:
            self.every *= 2
            self.frames = deque(list(self.frames)[::2])


class Places:
    """The places of a night, in order."""

    def __init__(self) -> None:
        self._places: deque[Place] = deque(maxlen=_KEPT)

    def __iter__(self) -> Iterator[Place]:
        return iter(self._places)

    @property
    def last(self) -> Place | None:
        """Where the camera stands."""
        return self._places[-1] if self._places else None

    def add(self, frame: Frame) -> Place:
        """Sort a frame to the place where the camera stands, or to a new one."""
        last = self.last
        if last is not None and relation(last.first, frame) == "same field":
            last.add(frame)
            return last
        place = Place(frame, frames=deque([frame]))
        self._places.append(place)
        return place

    def leave(self, place: Place) -> None:
        """Keep of a place only what a sweep needs."""
        place.frames = deque(list(place.frames)[-_FRAMES_OF_A_PLACE:])

    def sweep_to(self, frame: Frame, after: tuple[float, float] | None = None) -> list[list[Frame]]:
        """Return the frames of a run of right-ascension positions that ends with a frame, place by place.

        Parameters
        ----------
        frame : Frame
            The last one.
        after : tuple of float, optional
            Only frames taken later. [d]
        """
        run = []
        for place in self._places:
            if place.is_target and place.count >= _SURELY_A_TARGET:
                continue
            frames = [
                one for one in list(place.frames)[-_FRAMES_OF_A_PLACE:] if _is_within(one, frame, after)
            ]
            if frames and relation(frames[-1], frame) in ("same field", "turned"):
                run.append(frames)
        return _merged(run)

    @staticmethod
    def count(frames: Sequence[Frame]) -> int:
        """Return at how many places frames were taken."""
        return len(_merged([[frame] for frame in frames]))


def _merged(groups: list[list[Frame]]) -> list[list[Frame]]:
    """Join groups of one field: a frame solved wrongly between them parts what is one place."""
    places: list[list[Frame]] = []
    for group in groups:
        same = (i for i, place in enumerate(places) if relation(place[0], group[-1]) == "same field")
        index = next(same, None)
        if index is None:
            places.append(group)
        else:
            places[index] = [*places[index], *group][-_FRAMES_OF_A_PLACE:]
    return places


def _is_within(one: Frame, last: Frame, after: tuple[float, float] | None) -> bool:
    if abs(seconds_between(one.utc, last.utc)) > _SWEEP_S:
        return False
    return after is None or seconds_between(after, one.utc) > 0
