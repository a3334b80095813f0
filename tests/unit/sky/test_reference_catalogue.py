"""Catalogue stars on a date, against published places and proper motions."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from scipy.spatial import cKDTree

from polarcheck.sky import reference_stars
from polarcheck.sky.pole_stars import hipparcos_stars_near
from tests.helpers import ARCSEC, DEG, icrs, utc_date

# Groombridge 1830, J2000.0, ICRS: RA 11h52m58.7683s, Dec +37d43'07.240", proper motion 4002.6 and -5817.9 mas/yr,
# parallax 108.95 mas, radial velocity -98 km/s (SIMBAD, from Gaia; from memory). It goes 7 arcsec a year.
RA, DEC = 178.2448679 * DEG, 37.7186778 * DEG
PM_RA, PM_DEC = 4.0026 * ARCSEC, -5.8179 * ARCSEC
PARALLAX_ARCSEC, VELOCITY_KM_S = 0.10895, -98.0


@pytest.mark.parametrize("year", [1991, 2016, 2026, 2027])
def test_a_fast_star_is_where_erfa_carries_it(year: int) -> None:
    utc = tuple(utc_date(year, 7, 1)[0])
    ra, dec, *_ = erfa.starpm(
        RA, DEC, PM_RA / np.cos(DEC), PM_DEC, PARALLAX_ARCSEC, VELOCITY_KM_S, 2451545.0, 0.0, *utc
    )
    expected = icrs(ra, dec)
    stars = reference_stars(expected, 600 * ARCSEC, utc)
    apart = np.linalg.norm(stars.directions - expected, axis=1) / ARCSEC
    # a straight line costs 0.1 arcsec by perspective over 35 years; standing still would cost 50
    assert apart.min() < 0.2


def test_stars_of_a_field_are_near_it_and_as_many_as_the_sky_has() -> None:
    # 118,218 entries of Hipparcos over 41,253 square degrees; a cone of 3 deg near the galactic pole has fewer
    stars = reference_stars(icrs(192.86 * DEG, 27.13 * DEG), 3 * DEG, None)
    area = np.pi * 3**2
    hipparcos = np.isin(stars.origins, ["Hipparcos", "Gaia"]).sum()
    assert 0.4 < hipparcos / (118218 / 41253 * area) < 1.2
    assert (stars.directions @ icrs(192.86 * DEG, 27.13 * DEG)).min() > np.cos(3.1 * DEG)
    assert len(stars) == len(stars.sigmas) == len(stars.magnitudes)


def test_no_star_stands_twice() -> None:
    stars = reference_stars(icrs(83.8 * DEG, -5.4 * DEG), 4 * DEG, tuple(utc_date(2026, 11, 14)[0]))
    pairs = cKDTree(stars.directions).query_pairs(1.0 * ARCSEC, output_type="ndarray")
    # doubles do stand within 1 arcsec of one another, a few in a thousand; a second catalogue would make it a quarter
    assert len(pairs) < 0.02 * len(stars)


def test_stars_without_proper_motion_are_known_worse_with_time() -> None:
    place = icrs(40 * DEG, 55 * DEG)
    then, now = (reference_stars(place, 2 * DEG, tuple(utc_date(year, 1, 1)[0])) for year in (2016, 2026))
    loose = now.origins == "Gaia of 2016"
    assert loose.any()
    assert np.median(now.sigmas[loose]) == pytest.approx(0.15 * ARCSEC, rel=0.05)
    # annual parallax is not counted: 10 to 20 milliarcsec for stars of magnitude 9 (50 to 100 pc, roughly)
    assert 0.012 * ARCSEC < np.median(then.sigmas[loose]) < 0.03 * ARCSEC


@pytest.mark.parametrize(("apart_arcsec", "count"), [(1.5, 1), (3.0, 2)])
def test_star_of_both_catalogues_stands_once_and_a_neighbour_beside_it(
    monkeypatch: pytest.MonkeyPatch, apart_arcsec: float, count: int
) -> None:
    """After 25 years 99.9 % of Hipparcos' stars are within 2 arcsec of Gaia's, the orbits of doubles included (counted)."""
    hipparcos = hipparcos_stars_near(np.array([0.0, 0.0, 1.0]), np.pi)
    star = hipparcos.at((2457388.5, 0.5))[hipparcos.hip == 11767][0]  # Polaris, in 2016
    across = np.cross(star, [1.0, 0.0, 0.0])
    beside = star + apart_arcsec * ARCSEC * across / np.linalg.norm(across)
    monkeypatch.setattr(
        "polarcheck.sky.reference_catalogue._gaia_stars_near", lambda *_: (beside[None], np.array([2.0]))
    )
    stars = reference_stars(star, 20 * ARCSEC, None)
    assert len(stars) == count
    if count == 2:  # Hipparcos' motions are good to 1 mas/yr (van Leeuwen 2007): 25 to 35 mas by 2016 to 2026
        assert 0.03 * ARCSEC < stars.sigmas[stars.origins == "Hipparcos"][0] < 0.08 * ARCSEC
