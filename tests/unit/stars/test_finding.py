"""Pixels that stand out of the sky: which groups of them can be a star."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from polarcheck.stars.finding import bright_groups, scatter, sky_of
from polarcheck.stars.mosaic import one_plane

Image = npt.NDArray[np.float32]
CROSS = [(0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1), (0, 2), (1, 2)]


def noisy(height: int = 200, width: int = 300, noise: float = 10.0) -> Image:
    return np.random.default_rng(2).normal(1000, noise, (height, width)).astype(np.float32)


def groups_in(image: Image) -> int:
    """Number of groups that stand out of the sky by 20 deviations."""
    plane = one_plane(image)
    return len(bright_groups(plane.pixels, sky_of(plane), 20.0).x)


@pytest.mark.parametrize(
    ("pixels", "is_star"), [(1, False), (2, False), (3, False), (4, True), (6, True), (7, True)]
)
def test_a_hot_pixel_stands_alone_a_star_does_not(pixels: int, is_star: bool) -> None:
    """Hot pixels come in twos and threes at most: common practice, no source. A star of 2 px covers a dozen."""
    image = noisy()
    for i, j in CROSS[:pixels]:
        image[100 + i, 150 + j] += 800
    assert (groups_in(image) == 1) is is_star


@pytest.mark.parametrize(
    ("aside", "is_star"), [(0.0, False), (0.02, False), (0.04, False), (0.08, True), (0.3, True)]
)
def test_a_hot_column_is_thinner_than_a_star(aside: float, is_star: bool) -> None:
    """A column with a part of its light in the next one: its variance across is about that part of a square pixel."""
    image = noisy(noise=1.0)
    image[80:120, 150] += 10_000 * (1 - aside)
    image[80:120, 151] += 10_000 * aside
    assert (groups_in(image) == 1) is is_star


def test_noise_is_the_skys_and_stars_do_not_count() -> None:
    """The median deviation of a normal distribution is 0.6745 of its standard deviation (any table of it)."""
    image = noisy(noise=10.0)
    image[50:60, 50:60] += 30_000
    assert sky_of(one_plane(image)).noise == pytest.approx(10.0, rel=0.03)
    assert scatter(noisy(noise=10.0)) == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize(("noise", "found"), [(0.02, 0.02), (0.004, 0.01), (0.0, 0.01)])
def test_noise_of_a_smooth_sky_is_what_single_precision_can_tell(noise: float, found: float) -> None:
    """Of a level of 1000 (24 bits of mantissa, and a hundred roundings of a calibration): a hundred-thousandth."""
    rng = np.random.default_rng(5)
    image = (1000 + noise * rng.standard_normal((300, 400)) + 1e-4 * rng.standard_normal((300, 400))).astype(
        np.float32
    )
    assert sky_of(one_plane(image)).noise == pytest.approx(found, rel=0.1)


@pytest.mark.parametrize("waves_px", [200, 400])
def test_the_sky_follows_gradients_but_not_stars(waves_px: int) -> None:
    """A wave of 400 counts over some boxes of 50 px is followed to a few counts; a star of 8 px is not."""
    y, x = np.mgrid[:500, :800]
    wave = 400 * np.sin(2 * np.pi * x / waves_px)
    image = noisy(500, 800) + wave.astype(np.float32)
    image += (5000 * np.exp(-((x - 400) ** 2 + (y - 250) ** 2) / (2 * 3.4**2))).astype(np.float32)
    sky = sky_of(one_plane(image))
    level = sky.strip(0, 500, 800)
    assert np.abs(level - 1000 - wave)[60:440, 60:740].mean() < (60 if waves_px == 200 else 15)
    assert level[250, 400] - 1000 - wave[250, 400] < 60
