"""The size of stars that do not move, and what the seeing hides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median

from polarcheck.errors import InputError, Notice
from polarcheck.stars import measure_stars

__all__ = ["measured_fwhm", "seeing_notices"]

_SHARE_SEEN = 0.2  # of the FWHM: a trail that lengthens a star by 1 %


def measured_fwhm(
    paths: Sequence[Path],
    pixel_scale_arcsec: float,
    progress: Callable[[int, int], None] | None = None,
) -> float:
    """Measure how wide the stars of frames are.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Folders, files or patterns of frames.
    pixel_scale_arcsec : float
        Where a frame does not tell its own. [arcsec/px]
    progress : callable, optional
        Called with the number of files done and of all files.

    Returns
    -------
    float
        Median over the frames of their stars' full width at half maximum. [arcsec]

    Raises
    ------
    InputError
        There are no frames but a kept result, or no star is bright enough.
    """
    if not paths or any(path.suffix.lower() == ".json" for path in paths):
        raise InputError(
            "the stars' size can be measured only on the frames themselves, not on a kept result or a stated error; "
            "give frames as the alignment, or state the size",
            ["fwhm_arcsec"],
        )
    sizes = [
        entry.fwhm_arcsec or entry.summary.fwhm_px * pixel_scale_arcsec
        for entry in measure_stars(paths, progress=progress)
        if entry.summary and entry.summary.fwhm_px
    ]
    if not sizes:
        raise InputError(
            "no star of these frames is bright enough to tell its size; state it", ["fwhm_arcsec"]
        )
    return median(sizes)


def seeing_notices(tolerance_arcsec: float, fwhm_arcsec: float | None) -> tuple[Notice, ...]:
    """Warn of a tolerance that no star of this size shows. [arcsec]"""
    if fwhm_arcsec is None or tolerance_arcsec >= _SHARE_SEEN * fwhm_arcsec:
        return ()
    said = (
        f"A tolerance of {tolerance_arcsec:.2g} arcsec is less than a fifth of the stars' size ({fwhm_arcsec:.2g} "
        "arcsec): the seeing hides such a motion, and a longer exposure would show no difference."
    )
    return (Notice("below-seeing", said),)
