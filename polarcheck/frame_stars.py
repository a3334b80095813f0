"""Stars of many frames: each file's pixels measured, or the reason why not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from polarcheck.errors import FrameError, InputError
from polarcheck.frames import find_frames, read_frame, read_image
from polarcheck.frames.companions import is_header_only
from polarcheck.printable import printable
from polarcheck.stars import StarSummary, find_stars, summarise
from polarcheck.vectors import Array

__all__ = ["FrameStars", "measure_stars", "median_map", "stars_of"]


@dataclass(frozen=True, slots=True)
class FrameStars:
    """One file's stars.

    Attributes
    ----------
    path : pathlib.Path
    name : str
        Printable.
    width_px, height_px : int or None
        [px]
    summary : StarSummary or None
        None where the file cannot be measured.
    pixel_scale_arcsec : float or None
        From its plate solution, if it has one. [arcsec/px]
    reason : str or None
        Why it cannot be measured, printable.
    """

    path: Path
    name: str
    width_px: int | None
    height_px: int | None
    summary: StarSummary | None
    pixel_scale_arcsec: float | None
    reason: str | None

    @property
    def fwhm_arcsec(self) -> float | None:
        """Full width at half maximum, if the scale is known. [arcsec]"""
        if self.summary is None or self.summary.fwhm_px is None or self.pixel_scale_arcsec is None:
            return None
        return self.summary.fwhm_px * self.pixel_scale_arcsec


def measure_stars(
    paths: Sequence[Path],
    *,
    recursive: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[FrameStars, ...]:
    """Measure the stars of every offered frame, solved or not.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Folders, files or patterns.
    recursive : bool
        Whether to look into subfolders.
    progress : callable, optional
        Called with the number of files done and of all files.

    Returns
    -------
    tuple of FrameStars
        In the order of their names; header-only solution files are passed over.

    Raises
    ------
    InputError
        Nothing is there, or no file could be measured.
    """
    files = [path for path in find_frames(paths, recursive) if not _is_solution(path)]
    found = []
    for done, path in enumerate(files, 1):
        found.append(stars_of(path))
        if progress:
            progress(done, len(files))
    if not any(entry.summary for entry in found):
        reasons = "".join(f"\n  {entry.name}: {entry.reason}" for entry in found[:5])
        raise InputError(f"no file holds pixels that can be measured{':' if reasons else ''}{reasons}")
    return tuple(found)


def _is_solution(path: Path) -> bool:
    try:
        return is_header_only(path)
    except (OSError, FrameError):
        return False


def stars_of(path: Path) -> FrameStars:
    """Measure the stars of one file; what cannot be read keeps its reason."""
    name = printable(path.name)
    try:
        image = read_image(path)
    except FrameError as error:
        return FrameStars(path, name, None, None, None, None, error.reason)
    height, width = image.pixels.shape[-2:]
    if min(height, width) < 16:
        return FrameStars(path, name, width, height, None, None, "is too small to hold stars")
    table = find_stars(image.pixels, mosaic=image.mosaic, saturation=image.saturation)
    try:
        scale: float | None = read_frame(path).pixel_scale_arcsec
    except FrameError:
        scale = None
    return FrameStars(path, name, width, height, summarise(table), scale, None)


def median_map(maps: Sequence[Array]) -> Array:
    """Return the median of several maps over the sensor, cell by cell; NaN where none has a value.

    Parameters
    ----------
    maps : sequence of ndarray, shape (m, n)

    Returns
    -------
    ndarray, shape (m, n)
    """
    stack = np.stack(maps)
    known = np.isfinite(stack).any(axis=0)
    found = np.full(stack.shape[1:], np.nan)
    found[known] = np.nanmedian(stack[:, known], axis=0)
    return found
