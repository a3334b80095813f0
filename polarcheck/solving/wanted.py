"""What a solver is told of a frame beforehand: how coarse its pixels are and where it may look."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from polarcheck.errors import ParameterError

__all__ = ["Hints", "Place", "attempts", "parse_scale"]

_HINT_RADIUS_DEG = 20.0
_FIELD_DEG = (0.1, 100.0)  # of the width, where nothing is known


@dataclass(frozen=True, slots=True)
class Place:
    """A part of the sky.

    Attributes
    ----------
    right_ascension_deg, declination_deg : float
        Its centre. [deg]
    radius_deg : float
        [deg]
    """

    right_ascension_deg: float
    declination_deg: float
    radius_deg: float = _HINT_RADIUS_DEG


@dataclass(frozen=True, slots=True)
class Hints:
    """What is known of a frame beforehand; None where nothing is.

    Attributes
    ----------
    scale_arcsec : tuple of float or None
        Least and greatest pixel scale. [arcsec/px]
    place : Place or None
        Where its centre lies.
    is_stated : bool
        Whether the scale is the user's word, which holds; else it is a guess that may be wrong.
    """

    scale_arcsec: tuple[float, float] | None = None
    place: Place | None = None
    is_stated: bool = False

    def scale_range(self, width_px: int) -> tuple[float, float]:
        """Return the least and greatest pixel scale to look for.

        Parameters
        ----------
        width_px : int
            Of the image; without a scale, `width_px` is 0.1 to 100 deg wide. [px]

        Returns
        -------
        tuple of float
            [arcsec/px]
        """
        least, most = (deg * 3600 / width_px for deg in _FIELD_DEG)
        return self.scale_arcsec or (least, most)


def attempts(hints: Hints) -> Iterator[Hints]:
    """Yield what to try, the quickest first: a wrong word about place or scale must not cost the frame.

    Parameters
    ----------
    hints : Hints

    Yields
    ------
    Hints
    """
    yield hints
    if hints.place is not None:
        yield replace(hints, place=None)
    if hints.scale_arcsec is not None and not hints.is_stated:
        yield Hints()


def parse_scale(text: str) -> tuple[float, float]:
    """Read a range of pixel scales.

    Parameters
    ----------
    text : str
        ``"1.1,1.3"``, or ``"1.2"`` for within 5 %. [arcsec/px]

    Returns
    -------
    tuple of float
        [arcsec/px]

    Raises
    ------
    ParameterError
        No such range.
    """
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) == 1:
        numbers = [0.95 * numbers[0], 1.05 * numbers[0]]
    if (
        len(numbers) != 2
        or not all(math.isfinite(n) for n in numbers)
        or not 0.01 <= numbers[0] < numbers[1] <= 1800
    ):
        raise ParameterError(
            "give the least and the greatest pixel scale in arcsec per pixel, such as 1.1,1.3", "scale_arcsec"
        )
    return numbers[0], numbers[1]
