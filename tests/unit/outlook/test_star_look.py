"""What a trailed star looks like, against the moments of an even line."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.outlook import StarLook
from polarcheck.outlook.star_look import elongation_of
from polarcheck.vectors import Array
from tests.unit.outlook.test_outlook import OUTLOOK, PLACE, START


def even_trail(length: float, count: int = 2001) -> Array:
    return np.stack([np.linspace(0, length, count), np.zeros(count)], axis=-1)


@pytest.mark.parametrize("length", [0.5, 4.0, 20.0])
def test_elongation_of_an_even_trail_is_that_of_its_moments(length: float) -> None:
    """Variance L^2 / 12 along a line, and FWHM = 2 sqrt(2 ln 2) sigma (textbook)."""
    sigma = 3.0 / (2 * np.sqrt(2 * np.log(2)))
    assert elongation_of(even_trail(length), 3.0) == pytest.approx(
        np.sqrt(1 + length**2 / 12 / sigma**2), rel=1e-4
    )


def test_a_look_follows_its_star_closely_enough_for_the_eye_and_for_its_elongation() -> None:
    """An even drift: by its end points alone, the look's elongation within 1 in 1000; not over a hundred places to draw."""
    looks: list[list[StarLook]] = OUTLOOK.look(PLACE, START, 12.0)
    look = max(
        (one for looks_ in looks for one in looks_ if one.place == "centre"), key=lambda one: one.trail_px
    )
    fwhm_px = 12.0 / OUTLOOK.optics.pixel_scale_arcsec
    sigma = fwhm_px / (2 * np.sqrt(2 * np.log(2)))
    length = float(np.hypot(*(look.path_px[-1] - look.path_px[0])))
    even = (
        look.path_px[0] + (look.path_px[-1] - look.path_px[0]) * np.linspace(0, 1, len(look.path_px))[:, None]
    )
    assert elongation_of(even, fwhm_px) == pytest.approx(np.sqrt(1 + length**2 / 12 / sigma**2), rel=1.5e-4)
    assert np.hypot(*np.diff(look.path_px, axis=0).T).max() < 0.25 * fwhm_px
    assert len(look.path_px) < 100


def test_looks_are_those_of_the_centre_and_of_the_corners_round_the_sensor() -> None:
    """1200 x 900 px: atan(4/3) = 53.1 deg from north, and on through east. The centre goes where the target drifts."""
    (looks, *_) = OUTLOOK.look(PLACE, START, 12.0)
    corners = [f"corner at {angle} deg" for angle in (53, 127, 233, 307)]
    assert [one.place for one in looks] == ["centre", *corners]
    drift = OUTLOOK.drift(PLACE, START, looks[0].seconds)
    drifted = np.array([drift.east_arcsec[-1], drift.north_arcsec[-1]]) / OUTLOOK.optics.pixel_scale_arcsec
    assert looks[0].path_px[-1] - looks[0].path_px[0] == pytest.approx(drifted, abs=1e-3)
    at_corner = np.hypot(*(looks[1].path_px[-1] - looks[1].path_px[0] - drifted))
    assert at_corner > 10 * np.hypot(*(looks[0].path_px[-1] - looks[0].path_px[0] - drifted))


def test_a_small_star_is_drawn_round_and_a_large_one_at_once() -> None:
    """Five points across 1.5 px, so that no corners show; a stamp of 41 px, of which a sheet has dozens, in 30,000."""
    look = OUTLOOK.look(PLACE, START, 12.0)[0][0]
    assert 1.5 * (len(look.picture(1.5, 20)) - 1) / 40 >= 5
    assert look.picture(1.5, 20).size <= 30_000
