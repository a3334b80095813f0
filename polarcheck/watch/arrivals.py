"""A folder, followed while frames are written into it: each is read once it is whole, and again when it changes.

A file counts as at rest when two looks find the same size and time of change, or when that time is some seconds past.
Whether it is whole then, its own header tells. Only headers are read.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.frames import (
    Clock,
    Frame,
    Offer,
    Problem,
    ProblemKind,
    is_frame_name,
    mains,
    read_offer,
    stem_of,
)
from polarcheck.printable import printable

__all__ = ["Arrivals", "Look"]

_AT_REST_S = 0.08  # between two looks that find a file the same
_OLD_S = 3.0  # since its last change: no second look is needed; memory cards keep times to 2 s
_AGAIN_S = (0.5, 2.0, 8.0, 30.0)  # after which a file that could not be used is tried again, unchanged

Mark = tuple[int, int]
"""Size and time of the last change of a file. [byte], [ns]"""


@dataclass(frozen=True, slots=True)
class Look:
    """What one look at the folder found new.

    Attributes
    ----------
    frames : tuple of Frame
        Whole and solved, new or read again, in order of time.
    problems : tuple of Problem
        Files that turned out to be of no use as frames, so far.
    growing, unsolved : int
        Files being written, and whole ones without a solution.
    again_s : float or None
        After which another look is due even if nothing is heard; None: nothing is under way. [s]
    """

    frames: tuple[Frame, ...]
    problems: tuple[Problem, ...]
    growing: int
    unsolved: int
    again_s: float | None


@dataclass(slots=True)
class _Known:
    """A group of files that belong together: an image, its solution, its solved copy."""

    paths: tuple[str, ...] = ()
    since: float = 0.0  # since when they are as they are, monotonic [s]
    waits: bool = True  # to be at rest, then read
    kind: ProblemKind | None = None
    tries: int = 0
    again: float | None = None  # when to try once more, monotonic [s]
    given: int | None = None  # tells the frame's time and solution as they were given on from others


class Arrivals:
    """The frames of a folder as they come.

    Parameters
    ----------
    folder : pathlib.Path
        May be empty.
    recursive : bool
        Whether to look into subfolders.
    clock : Clock, optional
        What is stated of the clock in the headers.
    now : callable
        Monotonic time. [s]
    """

    def __init__(
        self,
        folder: Path,
        *,
        recursive: bool = False,
        clock: Clock | None = None,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder = folder
        self._recursive = recursive
        self._clock = clock or Clock()
        self._now = now
        self._groups: dict[tuple[str, str], _Known] = {}
        self._marks: dict[str, Mark] = {}
        self._folders: dict[str, str] = {}  # one object for each, not one for each file

    def look(self, progress: Callable[[int, int], None] | None = None) -> Look:
        """Look at the folder once and read what has become whole.

        Parameters
        ----------
        progress : callable, optional
            Called with the number of files read and of all that are to be read.

        Returns
        -------
        Look

        Raises
        ------
        InputError
            The folder cannot be listed.
        """
        now = self._now()
        self._note(now)
        ready = [key for key, known in self._groups.items() if known.waits and self._is_due(known, now)]
        frames: list[Frame] = []
        problems: list[Problem] = []
        for done, key in enumerate(ready, 1):
            result = self._read(self._groups[key], now)
            if isinstance(result, Frame):
                frames.append(result)
            elif result is not None:
                problems.append(result)
            if progress is not None:
                progress(done, len(ready))
        frames.sort(key=lambda frame: (sum(frame.utc), frame.name))
        return self._found(frames, problems)

    def _found(self, frames: list[Frame], problems: list[Problem]) -> Look:
        known = self._groups.values()
        unread = sum(one.waits and one.kind is None for one in known)
        kinds = [one.kind for one in known]
        return Look(
            tuple(frames),
            tuple(problems),
            unread + kinds.count(ProblemKind.UNFINISHED),
            kinds.count(ProblemKind.NOT_SOLVED),
            self._again_s([one for one in known if one.waits]),
        )

    def _again_s(self, waiting: list[_Known]) -> float | None:
        now = self._now()
        due = [known.since + _AT_REST_S if known.again is None else known.again for known in waiting]
        return max(min(due) - now, 0.0) if due else None

    def _note(self, now: float) -> None:
        """Take down what lies in the folder; a group that changed must come to rest again."""
        there = dict(self._listed())
        changed = [path for path, mark in there.items() if self._marks.get(path) != mark]
        gone = self._marks.keys() - there.keys()
        self._marks = there
        for path in (*changed, *gone):
            folder, name = os.path.split(path)
            key = (self._folders.setdefault(folder, folder), stem_of(name))
            known = self._groups.setdefault(key, _Known())
            others = tuple(other for other in known.paths if other != path)
            known.paths = others if path in gone else (*others, path)
            known.since, known.waits, known.again, known.tries = now, True, None, 0
            if not known.paths:  # deleted: what was read of it stands
                del self._groups[key]

    def _is_due(self, known: _Known, now: float) -> bool:
        if known.again is not None:
            return now >= known.again
        newest = max(self._marks[path][1] for path in known.paths) / 1e9
        is_old = time.time() - newest > _OLD_S
        return is_old or now - known.since >= _AT_REST_S

    def _read(self, known: _Known, now: float) -> Frame | Problem | None:
        """Read the file of a group that stands for the others; None where it tells nothing new."""
        offered = [self._offer(path) for path in sorted(known.paths)]
        beside = mains(offered) if len(offered) > 1 else {}
        main = next(offer for offer in offered if offer.path not in beside)
        result = read_offer(main, self._clock)
        if isinstance(result, Frame):
            known.waits, known.kind, known.again = False, None, None
            given = hash((result.utc, result.sky.tobytes()))
            if given == known.given:
                return None
            known.given = given
            return result
        is_news = result.kind is not known.kind
        self._later(known, result.kind, now)
        if (
            result.kind is ProblemKind.UNUSABLE
        ):  # may be half written, or held by its writer: said at the second try
            is_news = known.tries == 2
        return result if is_news else None

    def _later(self, known: _Known, kind: ProblemKind, now: float) -> None:
        """A file without a solution waits for a change; any other that cannot be used is tried again by itself."""
        known.kind = kind
        if kind is ProblemKind.NOT_SOLVED or known.tries == len(_AGAIN_S):
            known.waits, known.again = False, None
            return
        known.again = now + _AGAIN_S[known.tries]
        known.tries += 1

    def _offer(self, path: str) -> Offer:
        file = Path(path)
        folder, name = os.path.split(path)
        if folder == str(self._folder):
            return Offer(file, printable(name), "")
        relative = file.relative_to(self._folder)
        return Offer(file, printable(relative.as_posix()), printable(relative.parent.as_posix()))

    def _listed(self) -> Iterator[tuple[str, Mark]]:
        folders = [str(self._folder)]
        while folders:
            folder = folders.pop()
            try:
                with os.scandir(folder) as entries:
                    found = list(entries)
            except OSError as error:
                if folder == str(self._folder):
                    what = printable(error.strerror or error)
                    raise InputError(f"cannot list folder '{printable(folder)}': {what}") from None
                continue  # a subfolder that went away meanwhile
            for entry in found:
                if self._recursive and not entry.name.startswith(".") and entry.is_dir(follow_symlinks=False):
                    folders.append(entry.path)
                elif is_frame_name(entry.name) and (mark := _mark(entry)) is not None:
                    yield entry.path, mark


def _mark(entry: os.DirEntry[str]) -> Mark | None:
    """Size and time of change; None for what is no file, or went away meanwhile."""
    try:
        status = entry.stat()
        return (status.st_size, status.st_mtime_ns) if entry.is_file() else None
    except OSError:
        return None
