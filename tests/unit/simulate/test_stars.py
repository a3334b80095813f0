"""The invented sky: the same stars everywhere, drawn where the frame's own solution has them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import maximum_filter

from polarcheck.frames import read_pixels, read_solution
from polarcheck.simulate import Camera, mount_attitudes
from polarcheck.simulate.stars import exposed, invented_stars
from polarcheck.site import Site
from polarcheck.sky import Sky
from tests.commands import simulated
from tests.helpers import DEG, icrs, separation_arcsec, utc_date

SITE = Site(47.3, 11.2, 900.0)
EVENING = utc_date(2026, 11, 14, 21, 10)[0]
CAMERA = Camera(width_px=400, height_px=300, pixel_scale_arcsec=10.0)


def shoot(folder: Path, **settings: object) -> list[Path]:
    given = {
        "error_arcmin": (23.4, -11.8),
        "site": SITE,
        "utc": tuple(EVENING),
        "camera": CAMERA,
        "noise_px": 0.0,
    }
    return simulated(folder, **(given | {"count": 3} | settings))  # type: ignore[arg-type]


def brightest(path: Path) -> np.ndarray:
    """Centroid of the brightest star that is well on the sensor, and not near another, by plain moments."""
    image = np.asarray(read_pixels(path), dtype=float)
    light = image - np.median(image)
    light[:12] = light[-12:] = 0
    light[:, :12] = light[:, -12:] = 0
    y, x = np.unravel_index(np.argmax(light), light.shape)
    box = light[y - 4 : y + 5, x - 4 : x + 5]
    rows, columns = np.mgrid[y - 4 : y + 5, x - 4 : x + 5]
    return np.array([(box * columns).sum(), (box * rows).sum()]) / box.sum()


@pytest.mark.parametrize(
    "centre", [(10.0, 40.0), (0.05, -20.0), (200.0, 89.0), (123.0, -90.0), (359.9, 84.0)]
)
def test_no_star_of_the_whole_sky_is_missed(centre: tuple[float, float]) -> None:
    cell, radius = 2.0 * DEG, 7.0 * DEG
    middle = icrs(centre[0] * DEG, centre[1] * DEG)
    whole, _ = invented_stars(middle, np.pi, cell)
    near, counts = invented_stars(middle, radius, cell)
    wanted = whole[separation_arcsec(whole, middle) < 7 * 3600]
    assert 20 < len(wanted) < 70  # the cap holds 38 cells' worth of sky
    assert (counts > 0).all()
    for star in wanted:
        assert separation_arcsec(near, star).min() < 1e-3


def test_stars_spread_evenly_over_the_sky() -> None:
    whole, _ = invented_stars(icrs(0.0, 0.0), np.pi, 2.0 * DEG)
    # a sphere holds 41253 square degrees
    assert len(whole) == pytest.approx(41253 / 4, rel=0.02)
    assert np.linalg.norm(whole.mean(axis=0)) < 0.02


def test_star_stands_where_the_solution_has_it(tmp_path: Path) -> None:
    path = shoot(tmp_path)[0]
    solution = read_solution(path)
    place = brightest(path)
    direction = solution.icrs_from_pixels(place[None])[0]
    cell = np.sqrt(400 * 300 / 60) * 10 / 3600 * DEG  # 60 stars on the sensor
    stars, _ = invented_stars(direction, 1.0 * DEG, cell)
    assert separation_arcsec(stars, direction).min() < 2.0  # a fifth of a pixel


def test_tracked_field_shows_the_same_star_and_the_noise_differs(tmp_path: Path) -> None:
    paths = shoot(tmp_path, tracking_only=True)
    one, two = (read_solution(p).icrs_from_pixels(brightest(p)[None])[0] for p in (paths[0], paths[2]))
    assert separation_arcsec(one, two) < 2.0
    first, last = (np.asarray(read_pixels(p)) for p in (paths[0], paths[2]))
    assert (first[:20, :20] != last[:20, :20]).any()


def test_same_seed_gives_the_same_pixels(tmp_path: Path) -> None:
    one, two = (shoot(tmp_path / name, count=1, seed=5)[0] for name in ("a", "b"))
    other = shoot(tmp_path / "c", count=1, seed=6)[0]
    assert (read_pixels(one) == read_pixels(two)).all()
    assert (read_pixels(one) != read_pixels(other)).any()


def exposures(camera: Camera, count: int) -> list[np.ndarray]:
    """What the sensor counts above its sky, over several fields."""
    sky, moment = Sky.over(SITE), np.array(EVENING)
    angles = np.linspace(0.1, 1.2, count)
    attitudes = mount_attitudes(sky.true_pole.direction, True, angles, 50 * DEG, 0.0)
    seen = (exposed(attitude, moment, sky, camera, [i]) for i, attitude in enumerate(attitudes))
    return [image.astype(float) - 100.0 for image in seen]


def test_stars_of_a_small_sensor_stand_apart() -> None:
    """Sixty stars on 120 x 90 px would be 13 px from one to the next; a finder of stars wants some 10 px of sky
    about each (common practice, no source), so that here are some seven, 40 px apart.
    """
    images = exposures(Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0), 12)
    peaks = [(maximum_filter(image, 9) == image) & (image > 30.0) for image in images]
    assert 3.5 < np.mean([peak.sum() for peak in peaks]) < 12


def test_stars_are_neither_undersampled_nor_swollen() -> None:
    """Two pixels a full width at half maximum are Nyquist's least, common practice says two to three. The second
    moment of a Gaussian that is integrated over pixels is sigma**2 + 1/12.
    """
    widths = []
    for image in exposures(CAMERA, 3):
        image[:12] = image[-12:] = image[:, :12] = image[:, -12:] = 0
        y, x = np.unravel_index(np.argmax(image), image.shape)
        box = image[y - 4 : y + 5, x - 4 : x + 5]
        along = np.arange(-4, 5)
        mean = (box.sum(axis=0) * along).sum() / box.sum()
        sigma = np.sqrt((box.sum(axis=0) * (along - mean) ** 2).sum() / box.sum() - 1 / 12)
        widths.append(2.3548 * sigma)
    assert all(2.0 < width < 3.2 for width in widths)


def test_faint_and_bright_stars_stand_out_of_the_noise_and_none_saturates() -> None:
    """A star is found from some five sigmas of its brightest pixel on (common practice, no source)."""
    image = exposures(CAMERA, 1)[0]
    noise = 1.4826 * np.median(np.abs(image - np.median(image)))
    assert np.median(image) == pytest.approx(0.0, abs=1.0)
    assert 0.9 < noise < 2.0
    peaks = image[(maximum_filter(image, 9) == image) & (image > 20 * noise)]
    assert 40 < len(peaks) < 90
    assert 10_000 < peaks.max() < 65_535 - 100


def test_stars_are_as_bright_as_a_short_exposure_has_them() -> None:
    """A factor of sixty, 4.5 mag, from the faintest to the brightest: with 2.5 px of width the one has 200 counts in
    its brightest pixel, the other 14,000, and 16 bits hold it (65,535).
    """
    _, counts = invented_stars(icrs(0.0, 0.0), np.pi, 5.0 * DEG)
    peaks = counts * 4 * np.log(2) / np.pi / 2.5**2
    assert 150 < peaks.min() < 400
    assert 12_000 < peaks.max() < 20_000
