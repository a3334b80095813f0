"""Frames whose stars show that the mount still moved, told from those that can be trusted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from polarcheck.errors import Notice
from polarcheck.frames import Frame, FrameSet, Problem
from polarcheck.stars.files import FrameStars, stars_of

__all__ = ["steady_frames"]

_FEW_STARS = 15  # a solution from fewer is noisy
_MOST_NAMED = 4
_HARMFUL_TRAIL_PX = 8.0  # shorter ones shift a plate solution by less than its noise (docs/stars.md)


def steady_frames(
    frame_set: FrameSet, progress: Callable[[int, int], None] | None = None
) -> tuple[FrameSet, tuple[Notice, ...]]:
    """Leave out the frames that were taken while the mount still moved, as their own stars show.

    Parameters
    ----------
    frame_set : FrameSet
    progress : callable, optional
        Called with the number of frames looked at and of all frames.

    Returns
    -------
    FrameSet
        A frame that moved is a problem in it, with the reason.
    tuple of Notice
        Frames whose pixels could not be looked at, frames with few stars, and frames with trails too short to harm.
    """
    kept: list[Frame] = []
    problems: list[Problem] = list(frame_set.problems)
    unseen: list[Frame] = []
    few: list[Frame] = []
    short: list[Frame] = []
    for done, frame in enumerate(frame_set.frames, 1):
        found = stars_of(frame.path)
        if found.summary is None or found.summary.shaped == 0:
            unseen.append(frame)
        elif found.summary.stars < _FEW_STARS:
            few.append(frame)
        reason = _moved(found)
        if reason:
            problems.append(Problem(frame.path, frame.name, reason, utc=frame.utc))
        else:
            kept.append(frame)
            if found.summary is not None and found.summary.has_moved:
                short.append(frame)
        if progress:
            progress(done, len(frame_set.frames))
    return replace(frame_set, frames=tuple(kept), problems=tuple(problems)), _notices(unseen, few, short)


def _moved(found: FrameStars) -> str | None:
    stars = found.summary
    if stars is None or not stars.has_moved or (stars.trail_px or 0.0) < _HARMFUL_TRAIL_PX:
        return None
    return (
        f"its stars are all long alike (elongation {stars.elongation:.2f}, trail {stars.trail_px or 0:.1f} px): the mount "
        "still moved while it was exposed"
    )


def _notices(unseen: list[Frame], few: list[Frame], short: list[Frame]) -> tuple[Notice, ...]:
    notices = []
    if unseen:
        said = f"No stars could be measured in {_names(unseen)}; whether the mount moved there is unknown."
        notices.append(Notice("stars-unknown", said))
    if few:
        said = f"Fewer than {_FEW_STARS} stars were found in {_names(few)}; their solutions may be noisy."
        notices.append(Notice("few-stars", said))
    if short:
        said = (
            f"The stars are all long alike in {_names(short)}, by less than {_HARMFUL_TRAIL_PX:g} px: the mount moved a "
            "little while they were exposed. They are used; so short a trail hardly shifts a solution."
        )
        notices.append(Notice("moved-a-little", said))
    return tuple(notices)


def _names(frames: list[Frame]) -> str:
    names = ", ".join(frame.name for frame in frames[:_MOST_NAMED])
    more = len(frames) - _MOST_NAMED
    return names + (f" and {more} more" if more > 0 else "")
