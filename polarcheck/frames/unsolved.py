"""What an image's header says that helps to solve it: time, place, scale, where the telescope pointed.

None of the keywords of scale and pointing is in the FITS Standard but for RA and DEC, which it merely reserves (common
practice, no source). They are hints: any of them may be stale or wrong.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.clock import Clock
from polarcheck.frames.exposure_time import mid_exposure
from polarcheck.frames.header_site import header_site
from polarcheck.frames.loading import careful, image_cards
from polarcheck.site import Site, parse_angle

__all__ = ["SolvingHints", "read_solving_hints"]

_SCALES = ("PIXSCALE", "SECPIX", "SCALE")
_FOCAL_LENGTHS = ("FOCALLEN",)
_PIXEL_SIZES = ("XPIXSZ", "PIXSIZE1", "PIXSIZE")
_RIGHT_ASCENSIONS, _DECLINATIONS = ("RA", "OBJCTRA"), ("DEC", "OBJCTDEC")


@dataclass(frozen=True, slots=True)
class SolvingHints:
    """What a header says of an image that is to be solved; None where it does not say.

    Attributes
    ----------
    scale_arcsec : tuple of float or None
        Least and greatest likely pixel scale. [arcsec/px]
    place_deg : tuple of float or None
        Where the telescope says it pointed, right ascension and declination. [deg]
    utc : tuple of float or None
        Mid-exposure. [d]
    site : Site or None
    """

    scale_arcsec: tuple[float, float] | None = None
    place_deg: tuple[float, float] | None = None
    utc: tuple[float, float] | None = None
    site: Site | None = None


def read_solving_hints(path: Path, *, clock_ahead_s: float = 0.0, zone: str | None = None) -> SolvingHints:
    """Read what a header says that helps to solve its image.

    Parameters
    ----------
    path : pathlib.Path
        The image.
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    zone : str, optional
        As for `read_frames`.

    Returns
    -------
    SolvingHints

    Raises
    ------
    FrameError
        The header cannot be read.
    """
    with careful(path):
        cards = image_cards(path)
        try:
            utc = mid_exposure(cards, Clock(clock_ahead_s, zone))[0]
        except UnusableError:
            utc = None
        return SolvingHints(_scale(cards), _place(cards), utc, _site(cards))


def _site(cards: Cards) -> Site | None:
    try:
        return header_site(cards)[0]
    except UnusableError:
        return None


def _number(cards: Cards, keywords: tuple[str, ...], least: float, most: float) -> float | None:
    for keyword in keywords:
        try:
            value = cards.number(keyword)
        except UnusableError:
            continue
        if value is not None and least <= value <= most:
            return value
    return None


def _scale(cards: Cards) -> tuple[float, float] | None:
    """Pixel size over focal length; programs differ in whether a binned pixel's size is the binned one."""
    stated = _number(cards, _SCALES, 0.01, 600.0)
    focal, pixel = (
        _number(cards, _FOCAL_LENGTHS, 1.0, 50_000.0),
        _number(cards, _PIXEL_SIZES, 0.5, 200.0),
    )
    if focal is None or pixel is None:
        return None if stated is None else (0.9 * stated, 1.1 * stated)
    scale = 206.264806 * pixel / focal
    binning = _number(cards, ("XBINNING",), 1.0, 16.0) or 1.0
    return 0.85 * scale, 1.15 * scale * binning


def _place(cards: Cards) -> tuple[float, float] | None:
    ra, dec = _angle(cards, _RIGHT_ASCENSIONS, in_hours=True), _angle(cards, _DECLINATIONS, in_hours=False)
    if ra is None or dec is None or not (0 <= ra <= 360 and abs(dec) <= 90) or (ra == 0 and dec == 0):
        return None
    return ra % 360, dec


def _angle(cards: Cards, keywords: tuple[str, ...], *, in_hours: bool) -> float | None:
    """Sexagesimal text of a right ascension is in hours, a number in degrees."""
    for keyword in keywords:
        try:
            value = cards.value(keyword)
            if value is None or isinstance(value, bool):
                continue
            text = re.sub(r"[hdms: ]+", ":", value.strip()).strip(":") if isinstance(value, str) else value
            angle = parse_angle(text)
        except (InputError, UnusableError):
            continue
        return angle * 15 if in_hours and isinstance(text, str) and ":" in text else angle
    return None
