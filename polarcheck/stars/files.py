"""Stars of many frames: each file's pixels measured, or the reason why not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.errors import FrameError, InputError, Notice
from polarcheck.frames import mains, offers, read_image, read_solution
from polarcheck.printable import printable
from polarcheck.stars import StarSummary, find_stars, summarise
from polarcheck.stars.directions import LEAST_STARS
from polarcheck.vectors import Array

__all__ = ["FrameStars", "measure_stars", "median_map", "middle_elongation", "star_notices", "stars_of"]

_SMALLEST_PX = 16
_MIDDLE_PX = 1600  # of each side, that tell how a mount tracked
_MOST_NAMED = 6
_MOST_COUNTS = 1e12  # more than any camera or stack of images gives
_LEAST_KNOWN = 0.2  # of the pixels


@dataclass(frozen=True, slots=True)
class FrameStars:
    """One file's stars.

    Attributes
    ----------
    path : pathlib.Path
    name : str
        Printable; relative to the offered folder where possible.
    width_px, height_px : int or None
        [px]
    summary : StarSummary or None
        None where the file cannot be measured.
    pixel_scale_arcsec : float or None
        From its plate solution, if it has one. [arcsec/px]
    reason : str or None
        Why it cannot be measured, or why no star was found in it, printable.
    has_tone_curve : bool
        Whether counts likely do not grow as the light does, which makes stars look wider.
    """

    path: Path
    name: str
    width_px: int | None
    height_px: int | None
    summary: StarSummary | None
    pixel_scale_arcsec: float | None
    reason: str | None
    has_tone_curve: bool = False

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
        In the order of their names; files that hold the solution or a copy of another one are passed over.

    Raises
    ------
    InputError
        Nothing is there, or no file could be measured.
    """
    offered = offers(paths, recursive)
    others = mains(offered)
    files = [offer for offer in offered if offer.path not in others]
    found = []
    for done, offer in enumerate(files, 1):
        found.append(replace(stars_of(offer.path), name=offer.name))
        if progress:
            progress(done, len(files))
    if not any(entry.summary for entry in found):
        reasons = "".join(f"\n  {entry.name}: {entry.reason}" for entry in found[:5])
        raise InputError(f"no file holds pixels that can be measured{':' if reasons else ''}{reasons}")
    return tuple(found)


def stars_of(path: Path) -> FrameStars:
    """Measure the stars of one file; what cannot be read keeps its reason.

    Parameters
    ----------
    path : pathlib.Path
        An image, solved or not.

    Returns
    -------
    FrameStars
    """
    name = printable(path.name)
    try:
        image = read_image(path)
    except FrameError as error:
        return FrameStars(path, name, None, None, None, None, error.reason)
    height, width = image.pixels.shape[-2:]
    if min(height, width) < _SMALLEST_PX:
        what = "keeps its colours along the first axis (NAXIS1), which is not read"
        reason = what if width in (3, 4) and height >= _SMALLEST_PX else "is too small to hold stars"
        return FrameStars(path, name, width, height, None, None, reason)
    pixels = _with_numbers_only(image.pixels)
    if pixels is None:
        reason = "most of its pixels are no numbers, or no counts of a camera"
        nothing = summarise(find_stars(np.zeros((height, width))))
        return FrameStars(path, name, width, height, nothing, None, reason)
    table = find_stars(pixels, mosaic=image.mosaic, saturation=image.saturation)
    try:
        scale: float | None = read_solution(path).sampled()[1]
    except FrameError:
        scale = None
    return FrameStars(path, name, width, height, summarise(table), scale, None, image.has_tone_curve)


def middle_elongation(path: Path) -> float | None:
    """Return how long stars in the middle of a frame are: quick, and with the memory of the image and little more.

    Parameters
    ----------
    path : pathlib.Path
        An image, solved or not.

    Returns
    -------
    float or None
        Median of major over minor axis; None where the file cannot be read, or too few stars tell.
    """
    try:
        image = read_image(path)
    except FrameError:
        return None
    # even steps, so that a colour mosaic begins as before
    down, across = (max(size - _MIDDLE_PX, 0) // 4 * 2 for size in image.pixels.shape[-2:])
    middle = image.pixels[..., down : down + _MIDDLE_PX, across : across + _MIDDLE_PX]
    if min(middle.shape[-2:]) < _SMALLEST_PX:
        return None
    pixels = _with_numbers_only(middle)
    if pixels is None:
        return None
    return summarise(find_stars(pixels, mosaic=image.mosaic, saturation=image.saturation)).elongation


def _with_numbers_only(pixels: npt.NDArray[np.floating]) -> npt.NDArray[np.floating] | None:
    """Mark as unknown what no camera counts; None where hardly anything is left."""
    # in rows, so that no second image is needed
    good = sum(int(np.count_nonzero(np.abs(row) < _MOST_COUNTS)) for row in pixels)
    if good < _LEAST_KNOWN * pixels.size:
        return None
    if good == pixels.size:
        return pixels
    return np.where(np.abs(pixels) < _MOST_COUNTS, pixels, np.nan)


def star_notices(frames: Sequence[FrameStars]) -> tuple[Notice, ...]:
    """Say which frames were taken while the mount moved, and which could not be measured."""
    moved = [frame.name for frame in frames if frame.summary and frame.summary.has_moved]
    unread = [frame.name for frame in frames if frame.reason is not None]
    notices = []
    if any(frame.has_tone_curve for frame in frames):
        notices.append(_tone_curve())
    if moved:
        text = (
            f"All stars are long alike in {_listed(moved)}: the mount still moved, or did not track, while it was "
            "exposed. Take it again after the mount has settled; trails over about 8 px shift a plate solution by "
            "arcseconds."
        )
        notices.append(Notice("moved-while-exposed", text))
    notices += _unknown_widths(frames)
    if unread:
        notices.append(Notice("not-measured", f"Not measured: {_listed(unread)}."))
    return tuple(notices)


def _unknown_widths(frames: Sequence[FrameStars]) -> list[Notice]:
    """Say why frames with stars have no width."""
    open_ones = [f for f in frames if f.summary and f.summary.stars and f.summary.fwhm_px is None]
    few = [frame.name for frame in open_ones if frame.summary and frame.summary.shaped < LEAST_STARS]
    other = [frame.name for frame in open_ones if frame.name not in few]
    parts = []
    if few:
        parts.append(
            f"Width unknown in {_listed(few)}: fewer than {LEAST_STARS} stars are bright, whole, alone and not saturated."
        )
    if other:
        parts.append(
            f"Width unknown in {_listed(other)}: the stars are too few of those found, too unlike each other, under 1.6 px, "
            "or have wings that a trail hides."
        )
    return [Notice("width-unknown", " ".join(parts))] if parts else []


def _tone_curve() -> Notice:
    text = (
        "Pictures of 8 bits went through a tone curve, which lifts faint light: stars look wider than they are, by a third "
        "in a test. Compare such widths only with each other; raw files and FITS images give the true ones."
    )
    return Notice("tone-curve", text)


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more


def median_map(maps: Sequence[Array]) -> Array:
    """Return the median of several maps over the sensor, cell by cell; NaN where none has a value.

    Parameters
    ----------
    maps : sequence of ndarray
        All of one shape.

    Returns
    -------
    ndarray
        Of that shape.
    """
    stack = np.stack(maps)
    known = np.isfinite(stack).any(axis=0)
    found = np.full(stack.shape[1:], np.nan)
    found[known] = np.nanmedian(stack[:, known], axis=0)
    return found
