"""The map of the longest exposure against the exact answer, which brute force has checked."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.outlook.exposure import exposure_limit
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import set_scene
from polarcheck.outlook.skymap import exposure_map
from polarcheck.site import Site
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from tests.benchmarks.skymap import START, place_of
from tests.brute_force import axis_of, camera_basis, carried_back, directions, icrs, plane, star_at


@pytest.mark.parametrize("latitude", [47.3, -31.4])
@pytest.mark.parametrize(
    ("hour_angle", "off_equator"), [(-45.0, 10.0), (0.0, 30.0), (40.0, 60.0), (75.0, 75.0)]
)
def test_unguided_cell_reaches_the_tolerance_then(
    latitude: float, hour_angle: float, off_equator: float
) -> None:
    """By astropy and scipy: at the map's time the largest motion over the sensor is the tolerance within 4 %."""
    site = Site(latitude, 11.2, 900.0)
    air, declination = standard_atmosphere(site.height_m), float(np.copysign(off_equator, latitude))
    axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, (20.0, -12.0))
    optics = Optics(4.95, 1200, 900)
    sky = exposure_map(
        axis,
        Sky(site, air),
        optics,
        4.95,
        guided=False,
        hour_angle_deg=np.array([hour_angle]),
        declination_deg=np.array([declination]),
    )
    place = place_of(hour_angle, declination, site)
    offsets = [(0.0, 0.0), *((x, y) for x in (-0.825, 0.825) for y in (-0.61875, 0.61875))]
    stars = [star_at(*place), star_at(*place, 0.0, 0.01), *(star_at(*place, *offset) for offset in offsets)]
    seconds = np.array([0.0, float(sky.limit_s[0, 0])])
    seen = directions(icrs(np.array(stars)), "2026-11-14T20:00:00", seconds, site, air)
    places = plane(carried_back(seen, axis, seconds, latitude > 0)[:, 2:], *camera_basis(seen[0]))
    assert np.hypot(*(places[1] - places[0]).T).max() == pytest.approx(4.95, rel=0.04)


def test_periodic_error_counts_in_the_map_as_it_does_for_one_target() -> None:
    """A drive of 20 arcsec peak to peak in 480 s: seconds where without it there would be minutes; 3 % of `exposure`."""
    site = Site(47.3, 11.2, 900.0)
    sky = Sky(site, standard_atmosphere(site.height_m))
    pole, limits = sky.refracted_pole, []
    axis = axis_of(site, pole.altitude_deg, (1.0, -0.5))
    for periodic in (0.0, 20.0):
        optics = Optics(2.0, 1200, 900, periodic_error_arcsec=periodic, worm_period_s=480.0)
        cell = {"hour_angle_deg": np.array([-30.0]), "declination_deg": np.array([40.0])}
        limit = float(exposure_map(axis, sky, optics, 2.0, guided=False, **cell).limit_s[0, 0])
        scene = set_scene(sky, pole, place_of(-30.0, 40.0, site), START, optics, guided=False)
        assert limit == pytest.approx(exposure_limit(scene, axis, pole, 2.0).limit_s, rel=0.03)
        limits.append(limit)
    assert limits[1] < 0.2 * limits[0]


def test_cells_below_five_degrees_are_unknown_and_short_lived_ones_say_so() -> None:
    site = Site(47.3, 11.2, 900.0)
    air = standard_atmosphere(site.height_m)
    axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, (0.1, 0.1))
    sky = exposure_map(
        axis,
        Sky(site, air),
        Optics(4.95, 120, 90),
        500.0,
        guided=True,
        hour_angle_deg=np.array([180.0, 70.0, 0.0]),
        declination_deg=np.array([0.0, 80.0]),
    )
    assert np.isnan(sky.limit_s[0, 0])
    assert np.isinf(sky.limit_s[1]).all()
    assert (sky.available_s[1] == 21_600).all()
    assert (
        sky.available_s[0, 1] < 4 * 3600
    )  # an equatorial star 70 deg west of the meridian sets within 1.3 h
