"""End to end on pixels: star fields drawn through a drifting mount, measured, and compared with what was predicted.

The tracks are astropy's and scipy's (tests/brute_force.py), the measuring is photutils' and the package's own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from photutils.morphology import data_properties

from polarcheck.outlook.exposure import exposure_limit
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import set_scene
from polarcheck.outlook.star_look import elongation_of, star_looks
from polarcheck.site import Site
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.stars import find_stars, summarise
from polarcheck.times import utc_from_iso
from tests.brute_force import axis_of, camera_basis, carried_back, directions, icrs, plane, star_at
from tests.drawn_stars import FWHM_PER_SIGMA

START = "2026-11-14T21:00:00"
SITE, TARGET, FWHM_PX = Site(47.3, 11.2, 900.0), (20.0, 41.0), 3.2
OPTICS = Optics(4.95, 600, 450)


def tracks(axis: np.ndarray, length_s: float, offsets: np.ndarray) -> np.ndarray:
    """Paths of stars on the sensor by brute force, x east and y north of the centre, shape (n, k, 2). [px]"""
    air = standard_atmosphere(SITE.height_m)
    stars = [star_at(*TARGET), star_at(*TARGET, 0.0, 0.01), *(star_at(*TARGET, *place) for place in offsets)]
    seconds = np.linspace(0.0, length_s, 41)
    seen = directions(icrs(np.array(stars)), START, seconds, SITE, air)
    places = plane(carried_back(seen, axis, seconds, True)[:, 2:], *camera_basis(seen[0]))
    return places / OPTICS.pixel_scale_arcsec


def drawn(paths: np.ndarray) -> np.ndarray:
    """A frame of stars that moved along their paths, with an even sky and noise."""
    image = np.random.default_rng(5).normal(500.0, 3.0, (OPTICS.height_px, OPTICS.width_px))
    y, x = np.mgrid[: OPTICS.height_px, : OPTICS.width_px]
    sigma = FWHM_PX / FWHM_PER_SIGMA
    for path in paths.swapaxes(0, 1):
        px, py = path[:, 0] + (OPTICS.width_px - 1) / 2, path[:, 1] + (OPTICS.height_px - 1) / 2
        i, j = int(py.mean()), int(px.mean())
        reach = int(6 * sigma + np.ptp(path, axis=0).max())
        part = (slice(max(i - reach, 0), i + reach), slice(max(j - reach, 0), j + reach))
        fine = np.stack([np.interp(np.linspace(0, 40, 161), np.arange(41), p) for p in (px, py)])
        for cx, cy in fine.T:
            away = (x[part] - cx) ** 2 + (y[part] - cy) ** 2
            image[part] += 6000 / 161 * np.exp(-away / (2 * sigma**2))
    return image


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("error", [(23.4, -11.8), (4.0, 6.0)])
def test_stars_are_as_long_as_predicted(factor: float, error: tuple[float, float]) -> None:
    """At half, once and twice the longest exposure: elongation within 10 % of the predicted one, by both measures."""
    air = standard_atmosphere(SITE.height_m)
    pole = Sky(SITE, air).refracted_pole
    axis = axis_of(SITE, pole.altitude_deg, error)
    scene = set_scene(Sky(SITE, air), pole, TARGET, utc_from_iso(START), OPTICS, guided=False)
    limit = exposure_limit(scene, axis, pole, 3 * OPTICS.pixel_scale_arcsec).limit_s
    assert limit is not None
    look = star_looks(scene, axis, [factor * limit], FWHM_PX * OPTICS.pixel_scale_arcsec)[0]
    grid = np.stack(np.meshgrid(np.linspace(-0.3, 0.3, 6), np.linspace(-0.2, 0.2, 5)), -1).reshape(-1, 2)
    image = drawn(tracks(axis, factor * limit, grid))
    table = find_stars(image)
    stars = summarise(table)
    assert stars.stars == 30
    assert look[0].trail_px == pytest.approx(3 * factor, rel=0.1)
    assert stars.elongation == pytest.approx(look[0].elongation, rel=0.1)
    others = []
    for i in np.flatnonzero(table.has_shape):
        cx, cy = round(float(table.x_px[i])), round(float(table.y_px[i]))
        cut = image[cy - 12 : cy + 13, cx - 12 : cx + 13] - 500.0
        others.append(float(data_properties(np.where(cut > 9, cut, 0.0)).elongation))
    assert np.median(others) == pytest.approx(look[0].elongation, rel=0.1)


def test_corners_are_longer_than_the_centre_where_the_field_rotates() -> None:
    """Guided about the centre: a star there stays round; corners trail by the tolerance, within 2 %."""
    air = standard_atmosphere(SITE.height_m)
    pole = Sky(SITE, air).refracted_pole
    axis = axis_of(SITE, pole.altitude_deg, (60.0, 30.0))
    optics = replace(OPTICS, width_px=3000, height_px=2000)
    scene = set_scene(Sky(SITE, air), pole, (20.0, 75.0), utc_from_iso(START), optics, guided=True)
    limit = exposure_limit(scene, axis, pole, 10.0).limit_s
    assert limit is not None
    centre, *corners = star_looks(scene, axis, [limit], 12.0)[0]
    assert centre.elongation == pytest.approx(1.0, abs=1e-3)
    assert max(corner.trail_px for corner in corners) == pytest.approx(10.0 / 4.95, rel=0.02)


def test_elongation_of_an_even_trail() -> None:
    """By hand: L^2 / 12 along the trail; L = 6 and FWHM 3: sqrt((1.6231 + 3) / 1.6231) = 1.6877."""
    path = np.stack([np.linspace(0, 6, 400), np.zeros(400)], axis=-1)
    assert elongation_of(path, 3.0) == pytest.approx(1.6877, abs=2e-3)


def test_picture_of_a_star_lies_along_its_path() -> None:
    """North up, east left: a star that went north-east reaches from the lower right to the upper left."""
    air = standard_atmosphere(SITE.height_m)
    pole = Sky(SITE, air).refracted_pole
    scene = set_scene(Sky(SITE, air), pole, TARGET, utc_from_iso(START), OPTICS, guided=False)
    axis = axis_of(SITE, pole.altitude_deg, (23.4, -11.8))
    look = star_looks(scene, axis, [120.0], 12.0)[0][0]
    image = look.picture(12.0 / 4.95, 8)
    rows, columns = np.indices(image.shape)
    east, north = -(columns - columns.mean()), -(rows - rows.mean())
    along = np.sign(look.path_px[-1, 0] * look.path_px[-1, 1])
    assert np.sign((image * east * north).sum()) == along
