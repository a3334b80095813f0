"""What each way of setting up leaves: common practice without a source, so bounds on both sides, each with its reason."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.planning import Expectation, expectations

LATITUDE_DEG = 45.0
POLARIS_ARCMIN = 37.27
"""Its distance from the pole on 2026-11-25, by four libraries."""


def of(way: str) -> Expectation:
    return next(one for one in expectations(LATITUDE_DEG, 0.0, None) if one.way == way)


def test_a_compass_beside_a_mount_errs_by_two_to_five_degrees() -> None:
    """Its card is divided into 2 deg; a mount's bearings and weights turn the needle by a few more: common practice."""
    assert 2 <= of("compass").azimuth_deg <= 5


def test_a_shadow_is_laid_better_than_three_hundredths_and_no_better_than_the_sun_is_wide() -> None:
    """The Sun's half-degree disc blurs its edge; 3 cm beside a line of a metre are 1.7 deg."""
    assert 0.53 <= of("shadow").azimuth_deg <= np.degrees(np.arctan(0.03))


@pytest.mark.parametrize("way", ["compass", "shadow"])
def test_a_latitude_scale_is_read_to_half_a_mark_on_a_base_half_a_degree_out_of_level(way: str) -> None:
    """Marks of 1 to 2 deg; a bull's-eye bubble is off by half a degree at its ring: common practice."""
    assert np.hypot(0.5, 0.5) <= of(way).altitude_deg <= np.hypot(1.0, 0.5)


def test_sighting_the_pole_star_misses_at_least_what_the_star_stands_off_the_pole() -> None:
    """Beside that, an eye 5 mm off the middle of a bar of 300 mm errs by 57 arcmin at most."""
    at_most = np.hypot(POLARIS_ARCMIN, 60 * np.degrees(np.arctan(5 / 300)))
    assert POLARIS_ARCMIN <= of("sighted").total_arcmin <= at_most


def test_a_polar_finder_is_set_to_a_quarter_or_half_an_hour_of_its_clock_face() -> None:
    """An hour of the face is 30 deg about the pole, at the pole star's distance."""
    quarter, half = POLARIS_ARCMIN * np.sin(np.radians([7.5, 15.0]))
    assert quarter <= of("finder").total_arcmin <= half


def test_what_is_seen_on_the_sky_is_the_same_at_any_latitude() -> None:
    """Sighting and finder look at the sky: about the vertical that is more, by one over the cosine of the latitude."""
    for way in ("sighted", "finder"):
        found = of(way)
        on_sky = found.azimuth_deg * np.cos(np.radians(LATITUDE_DEG))
        assert on_sky == pytest.approx(found.altitude_deg, rel=1e-9)
