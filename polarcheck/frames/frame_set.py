"""Read all frames that were offered, and say of every other file why it is none."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from polarcheck.errors import FrameError, UnfinishedError, UnsolvedError
from polarcheck.frames.clock import Clock
from polarcheck.frames.companions import (
    is_header_only,
    is_solved_copy,
    solved_copy_beside,
    stem_of,
    worth,
)
from polarcheck.frames.exposure_time import mid_exposure
from polarcheck.frames.finding import Offer, natural_key, offers
from polarcheck.frames.frame import Frame, FrameSet, Problem, ProblemKind
from polarcheck.frames.loading import careful, image_cards
from polarcheck.frames.reading import read_frame
from polarcheck.given import PathLike, as_paths
from polarcheck.printable import printable

__all__ = ["mains", "read_frames", "read_offer"]


def read_frames(
    paths: PathLike | Iterable[PathLike],
    *,
    recursive: bool = False,
    clock_ahead_s: float = 0.0,
    zone: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> FrameSet:
    """Read all frames that folders, files and patterns offer.

    Parameters
    ----------
    paths : path or sequence of paths
        As for `find_frames`.
    recursive : bool
        Whether to look into subfolders too.
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    zone : str, optional
        Time zone of local times that do not name theirs, such as those of most cameras: ``+01:00``, or a name of the IANA
        time zone database. With it, `clock_ahead_s` is by how much the clock was ahead of that zone's.
    progress : callable, optional
        Called with the number of files done and of all files.

    Returns
    -------
    FrameSet
        A bad file is a problem in it and raises nothing.

    Raises
    ------
    InputError
        Nothing is there, see `find_frames`; or `zone` is none.
    """
    clock = Clock(clock_ahead_s, zone)
    offered = offers(as_paths(paths), recursive)
    main_of = mains(offered)
    frames: dict[Path, Frame] = {}
    problems: list[Problem] = []
    for done, offer in enumerate(offered, 1):
        if offer.path not in main_of:
            result = read_offer(offer, clock)
            if isinstance(result, Frame):
                frames[offer.path] = result
            else:
                problems.append(result)
        if progress is not None:
            progress(done, len(offered))
    used, copies = _without_copies(frames, offered)
    sidecars = [_sidecar(offer, main_of[offer.path], frames) for offer in offered if offer.path in main_of]
    return FrameSet(
        tuple(sorted(used, key=_frame_order)),
        tuple(sorted(problems + copies + sidecars, key=_problem_order)),
    )


def mains(offered: Sequence[Offer]) -> dict[Path, Offer]:
    """Return, for each file that another offered file stands for, that other file."""
    groups: dict[tuple[Path, str], list[Offer]] = {}
    for offer in offered:
        groups.setdefault((offer.path.parent, stem_of(offer.path.name)), []).append(offer)
    found: dict[Path, Offer] = {}
    for group in groups.values():
        copies = [offer for offer in group if is_solved_copy(offer.path)]
        images = [offer for offer in group if not is_header_only(offer.path) and offer not in copies]
        if not images or any(not worth(offer.path) for offer in images):
            images = copies or images  # of a picture the copy is no more than its solution
        if images:
            best = min(images, key=lambda offer: worth(offer.path))
            # FITS images of one stem are each read, and told where they are the same frame
            kept = {offer.path for offer in images if worth(offer.path) == worth(best.path)}
            found |= {offer.path: best for offer in group if offer.path not in kept}
    return found


def _sidecar(offer: Offer, main: Offer, frames: dict[Path, Frame]) -> Problem:
    frame = frames.get(main.path)
    name = printable(main.path.name, 80)
    if frame is None:
        reason = f"belongs to {name}, which cannot be used (see there)"
    elif is_solved_copy(main.path):
        reason = f"its solved copy {name} is used"
    elif is_header_only(offer.path) or is_solved_copy(offer.path):
        reason = f"holds the solution of {name}, which is used"
    else:
        reason = f"is a picture of {name}, which is used"
    return Problem(offer.path, offer.name, reason, ProblemKind.STANDS_BESIDE, frame.utc if frame else None)


def _without_copies(frames: dict[Path, Frame], offered: Sequence[Offer]) -> tuple[list[Frame], list[Problem]]:
    """Leave out files that hold the same frame again, which would count twice in the fit."""
    first: dict[tuple[tuple[float, float], bytes], Frame] = {}
    copies = []
    for offer in offered:
        if (frame := frames.get(offer.path)) is None:
            continue
        kept = first.setdefault((frame.utc, frame.sky.tobytes()), frame)
        if kept is not frame:
            reason = f"is the same frame as {kept.name}, which is used"
            copies.append(Problem(offer.path, offer.name, reason, ProblemKind.COPY, frame.utc))
    return list(first.values()), copies


def read_offer(offer: Offer, clock: Clock) -> Frame | Problem:
    """Read one offered file.

    Parameters
    ----------
    offer : Offer
        Not one that another file stands for; see `mains`.
    clock : Clock
        Of the headers.

    Returns
    -------
    Frame or Problem
        Named as the offer has it.
    """
    try:
        frame = read_frame(offer.path, clock_ahead_s=clock.ahead_s, zone=clock.zone)
    except FrameError as error:
        return _problem(offer, error, clock)
    name = offer.name.removesuffix(printable(offer.path.name)) + frame.name
    if (name, offer.folder) == (frame.name, frame.folder):
        return frame
    return replace(frame, name=name, folder=offer.folder)


def _problem(offer: Offer, error: FrameError, clock: Clock) -> Problem:
    kind, reason = ProblemKind.UNUSABLE, error.reason
    if isinstance(error, UnfinishedError):
        kind = ProblemKind.UNFINISHED
    if isinstance(error, UnsolvedError):
        kind = ProblemKind.NOT_SOLVED
        solved = solved_copy_beside(offer.path)
        if solved is not None:
            reason += f" (its solved copy {printable(solved.name, 80)} lies beside it: give that)"
    return Problem(offer.path, offer.name, reason, kind, _time(offer.path, clock), error.parameters)


def _time(path: Path, clock: Clock) -> tuple[float, float] | None:
    """Return the time of an unusable frame, if at least that can be read."""
    try:
        with careful(path):
            return mid_exposure(image_cards(path), clock)[0]
    except FrameError:
        return None


def _frame_order(frame: Frame) -> tuple[float, object]:
    return sum(frame.utc), natural_key(frame.name)


def _problem_order(problem: Problem) -> tuple[bool, float, object]:
    return problem.utc is None, sum(problem.utc or ()), natural_key(problem.name)
