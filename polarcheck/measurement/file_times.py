"""Do the times in the headers fit this computer's clock and the times of the files? If not, a clock was wrong."""

from __future__ import annotations

import time
from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from polarcheck.errors import Notice
from polarcheck.frames import Frame

__all__ = ["file_time_notices"]

_UNIX_EPOCH_JD = 2440587.5
_MOST_FILES = 100
_AHEAD_S = 600.0  # of this computer's clock, which may be some minutes off itself
_HOURS = (0.75, 14.25)  # time zones and daylight saving, with some minutes for the download
_STEADY_S = 60.0  # files that are written as they are taken follow their exposures so closely
_LEAST_SPAN_S = 240.0  # else a copy, which writes all files at once, would seem as steady


def file_time_notices(frames: Sequence[Frame], now_s: float | None = None) -> list[Notice]:
    """Warn of frames that are dated in the future, or steadily hours away from the times of their own files.

    Parameters
    ----------
    frames : sequence of Frame
        In order of time.
    now_s : float, optional
        Seconds since 1970, UTC; this computer's clock unless given. [s]

    Returns
    -------
    list of Notice
    """
    now = time.time() if now_s is None else now_s
    exposed = np.array(
        [(utc[0] - _UNIX_EPOCH_JD + utc[1]) * 86400.0 for utc in (frame.utc for frame in frames)]
    )
    ahead = float(exposed.max()) - now
    if ahead > _AHEAD_S:
        text = (
            f"{np.count_nonzero(exposed > now + _AHEAD_S)} of {len(frames)} frames are dated in the future, by up to "
            f"{_length(ahead)}: their clock is ahead of UTC (local time? daylight saving?), or this computer's is behind. "
            "A clock off by an hour turns the split into azimuth and altitude by 15 deg."
        )
        return [Notice("clock-future", text, ("clock_ahead_s",))]
    return _steadily_off(frames, exposed)


def _steadily_off(
    frames: Sequence[Frame], exposed: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> list[Notice]:
    some = range(0, len(frames), max(1, len(frames) // _MOST_FILES))
    after, span = [], []
    for i in some:
        with suppress(OSError):
            after.append(frames[i].path.stat().st_mtime - exposed[i])
            span.append(exposed[i])
    if len(after) < 3 or np.ptp(span) < _LEAST_SPAN_S or np.ptp(after) > _STEADY_S:
        return []
    hours = float(np.median(after)) / 3600
    if not _HOURS[0] <= abs(hours) <= _HOURS[1]:
        return []
    text = (
        f"Every file was written {_length(abs(hours) * 3600)} {'after' if hours > 0 else 'before'} the time in its header: "
        f"the clock behind the header was likely {'behind' if hours > 0 else 'ahead of'} UTC by about that, unless this "
        "computer's was off. A clock off by an hour turns the split into azimuth and altitude by 15 deg."
    )
    return [Notice("clock-file-time", text, ("clock_ahead_s",))]


def _length(seconds: float) -> str:
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 2 * 86400 else f"{seconds / 86400:.0f} days"
