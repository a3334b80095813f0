"""Widths of large stars from their peaks, against the profiles that were drawn."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars.widths import peak_widths
from tests.drawn_stars import FWHM_PER_SIGMA

SPAN = np.arange(-40.0, 41.0)
CENTRE = (0.3, -0.2)


def peak_width(light: np.ndarray, use: np.ndarray | None = None) -> float:
    counts = np.ones(light.shape, dtype=bool) if use is None else use
    return float(peak_widths(light[None], counts[None], np.array([CENTRE]))[0])


def squares(along: float = 1.0) -> np.ndarray:
    """Squared distances from the centre, x in units so long. [px^2]"""
    return np.asarray(((SPAN - CENTRE[0]) / along) ** 2 + (SPAN[:, None] - CENTRE[1]) ** 2)


@pytest.mark.parametrize("index", [2.5, 3.5, 4.765])
@pytest.mark.parametrize("fwhm", [12.0, 18.0, 25.0])
def test_wings_do_not_widen_the_peak(fwhm: float, index: float) -> None:
    """Moffat (1969): the half of the height is passed at alpha times the root of 2^(1 / beta) - 1."""
    alpha = fwhm / 2 / np.sqrt(2 ** (1 / index) - 1)
    assert peak_width((1 + squares() / alpha**2) ** -index) == pytest.approx(fwhm, rel=0.015)


@pytest.mark.parametrize("along", [1.0, 1.2, 1.5])
def test_the_shorter_axis_is_the_width(along: float) -> None:
    """A Gaussian's logarithm is a paraboloid: exactly."""
    light = 300 * np.exp(-squares(along) / 2 / 6.0**2)
    assert peak_width(light) == pytest.approx(6.0 * FWHM_PER_SIGMA, rel=1e-9)


def test_a_peak_of_which_hardly_anything_is_known_has_no_width() -> None:
    """Six numbers are fitted: six pixels say nothing about how well."""
    light = np.exp(-squares() / 2 / 6.0**2)
    use = np.zeros(light.shape, dtype=bool)
    use[38:40, 39:42] = True
    assert np.isnan(peak_width(light, use))
    assert np.isnan(peak_width(-light))
