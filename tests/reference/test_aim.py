"""The best axis for a target against a brute-force search."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.outlook.target_axis import aim_for_target
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_azalt
from tests.brute_force import axis_of, camera_basis, carried_back, directions, icrs, plane, star_at

START = "2026-11-14T21:00:00"
NORTH, SOUTH, TROPICAL = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0), Site(12.0, 11.2, 0.0)

CASES = [
    (NORTH, (20.0, 41.0), 3600.0),
    (NORTH, (20.0, 75.0), 4 * 3600.0),
    (NORTH, (100.0, 30.0), 2 * 3600.0),
    (NORTH, (20.0, -5.0), 3600.0),
    (SOUTH, (20.0, -45.0), 3 * 3600.0),
    (SOUTH, (300.0, -60.0), 3600.0),
    (TROPICAL, (20.0, 60.0), 2 * 3600.0),
]


class Field:
    """A target tracked once by astropy; the largest drift for any axis."""

    def __init__(self, site: Site, target: tuple[float, float], duration_s: float) -> None:
        self.site, self.air = site, standard_atmosphere(site.height_m)
        self.seconds = np.linspace(0.0, duration_s, 25)
        stars = icrs(np.array([star_at(*target), star_at(*target, 0.0, 0.01)]))
        self.seen = directions(stars, START, self.seconds, site, self.air)

    def drift(self, axis: np.ndarray) -> float:
        back = carried_back(self.seen[:, :1], axis, self.seconds, self.site.latitude_deg >= 0)
        places = plane(back[:, 0], *camera_basis(self.seen[0]))
        return float(np.hypot(*(places - places[0]).T).max())

    def axis_at(self, east: float, up: float) -> np.ndarray:
        """Offsets from the refracted pole on the sky. [arcmin]"""
        pole = Sky(self.site, self.air).refracted_pole
        cosine = np.cos(np.radians(pole.altitude_deg + up / 60))
        return axis_of(self.site, pole.altitude_deg, (east / cosine, up))


def searched(field: Field) -> float:
    """Least largest drift over the disc of 5 arcmin, by a coarse grid and finer ones around the best few."""
    steps = np.linspace(-5, 5, 21)
    places = [(e, u) for e in steps for u in steps if np.hypot(e, u) <= 5]
    places += [(4.9999 * np.sin(a), 4.9999 * np.cos(a)) for a in np.linspace(0, 2 * np.pi, 72)]
    width = 0.5
    for _ in range(4):
        best = sorted(places, key=lambda place: field.drift(field.axis_at(*place)))[:3]
        near = [
            (e + i * width / 4, u + j * width / 4)
            for e, u in best
            for i in range(-4, 5)
            for j in range(-4, 5)
        ]
        places = best + [place for place in near if np.hypot(*place) <= 5]
        width /= 4
    return min(field.drift(field.axis_at(*place)) for place in places)


@pytest.mark.parametrize(("site", "target", "duration_s"), CASES)
def test_aim_keeps_the_drift_as_small_as_a_brute_force_search(
    site: Site, target: tuple[float, float], duration_s: float
) -> None:
    """Drift by astropy and scipy with the axis there: at most 2 % above the search's, at most the refracted pole's."""
    field = Field(site, target, duration_s)
    aim = aim_for_target(Sky(site, field.air), target, utc_from_iso(START), duration_s)
    axis = direction_from_azalt(aim.pole.azimuth_deg * DEGREE, aim.pole.altitude_deg * DEGREE)
    got, least = field.drift(axis), searched(field)
    at_pole = field.drift(field.axis_at(0.0, 0.0))
    assert got <= 1.02 * least + 0.002
    assert got <= at_pole
    assert aim.drift_arcsec == pytest.approx(got, rel=0.01, abs=0.01)
    assert aim.drift_at_refracted_pole_arcsec == pytest.approx(at_pole, rel=0.01, abs=0.01)
    assert aim.offset_arcmin <= 5.001
    assert aim.pole.kind == "target"


def test_low_declinations_have_no_clear_optimum() -> None:
    air = standard_atmosphere(NORTH.height_m)
    assert aim_for_target(Sky(NORTH, air), (20.0, -5.0), utc_from_iso(START), 3600.0).is_at_edge
    assert not aim_for_target(Sky(NORTH, air), (20.0, 60.0), utc_from_iso(START), 3600.0).is_at_edge


def test_without_air_the_aim_is_the_true_pole() -> None:
    """Within 0.02 arcmin: polar motion and the change of aberration."""
    air = Atmosphere(0.0, 10.0)
    aim = aim_for_target(Sky(NORTH, air), (20.0, 60.0), utc_from_iso(START), 4 * 3600.0)
    true = Sky.over(NORTH).true_pole
    assert aim.pole.altitude_deg == pytest.approx(true.altitude_deg, abs=0.02 / 60)
    assert np.sin(aim.pole.azimuth_deg * DEGREE) == pytest.approx(0.0, abs=0.02 / 3438)


def test_target_below_the_horizon_is_refused() -> None:
    with pytest.raises(InputError, match="below the horizon"):
        aim_for_target(Sky.over(NORTH), (20.0, -60.0), utc_from_iso(START), 600.0)
