"""Why a frame could not be solved, in words that say what to do."""

from __future__ import annotations

from polarcheck.solving.engine import Engine
from polarcheck.solving.wanted import Hints
from polarcheck.stars import StarList

__all__ = ["FEWEST_STARS", "why_not_recognised", "why_nothing_to_match"]

FEWEST_STARS = 4
"""A pattern of fewer is none."""

_FEW = 12
_WIDE_PX = 14.0
_LONG_SHARE = 0.4


def why_nothing_to_match(stars: StarList) -> str | None:
    """Return why a frame gives no star pattern.

    Parameters
    ----------
    stars : StarList

    Returns
    -------
    str or None
        None where there are stars enough to try.
    """
    if stars.is_blank:
        return "is blank, all its pixels are alike: was the cap on, or the file never filled?"
    if stars.is_overexposed:
        return "is overexposed, most of its pixels are full: expose it shorter"
    if len(stars) >= FEWEST_STARS:
        return None
    if stars.long_share > _LONG_SHARE:
        return "shows trails and no stars: the mount moved while it was exposed; take it again"
    return f"shows {_stars(len(stars))}: cap on, clouds, far out of focus, or exposed too short"


def why_not_recognised(
    stars: StarList, hints: Hints, engine: Engine, limit_s: float, *, time_was_up: bool
) -> str:
    """Return why a solver may not have recognised a frame.

    Parameters
    ----------
    stars : StarList
    hints : Hints
        What was known of the frame.
    engine : Engine
    limit_s : float
        The time that it was given. [s]
    time_was_up : bool
        Whether it came to its time limit.

    Returns
    -------
    str
    """
    size = (stars.width_px, stars.height_px)
    missing = engine.missing_sizes(hints, size)
    if missing is not None and hints.scale_arcsec is not None:
        scale = (hints.scale_arcsec[0] * hints.scale_arcsec[1]) ** 0.5
        field = " x ".join(_arc(scale * side / 60) for side in size)
        return (
            f"was not recognised: the index files here do not cover its field of {field}, which needs star patterns of "
            f"{_arc(missing[0])} to {_arc(missing[1])}"
        )
    if stars.long_share > _LONG_SHARE:
        return "was not recognised: much in it is long; did the mount move while it was exposed?"
    width = stars.width_of_stars_px
    if width is not None and width > _WIDE_PX:
        return f"was not recognised: its stars are {width:.0f} px wide; is it out of focus?"
    if len(stars) < _FEW:
        return f"was not recognised: it shows only {_stars(len(stars))}; clouds, or exposed too short?"
    said = "" if hints.is_stated else "; state the pixel scale"
    if time_was_up:
        return f"was not recognised within {limit_s:g} s, {_stars(len(stars))} in it; give it more time{said or ''}"
    return f"was not recognised, {_stars(len(stars))} in it{said or '; is the stated pixel scale right?'}"


def _stars(count: int) -> str:
    return "no star" if count == 0 else f"{count} star{'s' if count != 1 else ''}"


def _arc(arcmin: float) -> str:
    return f"{arcmin:.0f} arcmin" if arcmin < 120 else f"{arcmin / 60:.1f} deg"
