"""Which pixels of a frame are green, and the sky's level on each colour: even skies with drawn levels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from polarcheck.stars.mosaic import green_diagonal, one_plane

SHAPE = (400, 600)


def noise(shape: tuple[int, int] = SHAPE, sigma: float = 10.0) -> np.ndarray:
    """The same on all four kinds of pixels, so that their levels differ by what is drawn and nothing else."""
    some = np.random.default_rng(3).normal(0, sigma, (shape[0] // 2, shape[1] // 2))
    return np.kron(some, np.ones((2, 2)))


def sky(red: float, green: float, other_green: float, blue: float, level: float = 1000.0) -> np.ndarray:
    """Levels of a mosaic's four kinds of pixels, RGGB."""
    tile = np.array([[red, green], [other_green, blue]])
    return level + np.tile(tile, (SHAPE[0] // 2, SHAPE[1] // 2))


@pytest.mark.parametrize(("off", "is_mosaic"), [(0.025, False), (0.030, False), (0.043, True), (0.060, True)])
def test_a_mosaic_shows_in_levels_ten_standard_errors_apart(off: float, is_mosaic: bool) -> None:
    """Of 640 000 pixels of a kind 160 000 are looked at: each level is known to 1/400 of the noise, two to 1/283 of
    it. At five of these errors a frame in two million would be taken for a mosaic (normal distribution), but sky
    gradients and the grain of a sensor are no noise.
    """
    image = noise((1600, 1600), 1.0)
    image[0::2, 0::2] -= off
    image[1::2, 1::2] += off
    assert (one_plane(image).green is not None) == is_mosaic


@pytest.mark.parametrize(("apart", "is_mosaic"), [(0.0, True), (0.14, True), (0.27, False), (0.5, False)])
def test_two_greens_are_alike(apart: float, is_mosaic: bool) -> None:
    """Apart by a part of what red and blue are off: the same filter, so only amplifiers can tell them apart."""
    image = sky(-300, 300 * apart / 2, -300 * apart / 2, 300) + noise()
    assert one_plane(image).green == (1 if is_mosaic else None)


@pytest.mark.parametrize(("errors", "green"), [(3.0, 0), (7.0, 0), (14.0, 1), (30.0, 1)])
def test_where_red_and_blue_are_nearly_alike_the_greens_are_those_that_are_wholly_so(
    errors: float, green: int
) -> None:
    """Under a reddish sky green is the darkest. Where red and blue do not differ for sure the brighter pixels are taken,
    as green sees most (common practice, no source).
    """
    error = 10.0 / np.sqrt(SHAPE[0] * SHAPE[1] / 4) * np.sqrt(2)
    image = sky(300 + errors * error / 2, 0, 0, 300 - errors * error / 2) + noise()
    assert one_plane(image).green == green


@pytest.mark.parametrize(("apart", "is_believed"), [(1.0, True), (2.2, True), (4.0, False), (20.0, False)])
def test_a_header_is_believed_where_its_greens_differ_by_less_than_pixels_may(
    apart: float, is_believed: bool
) -> None:
    """Of 1000 counts: three thousandths. Rows said upside down make red and blue of the greens."""
    image = sky(0, apart / 2, -apart / 2, 0) + noise(sigma=2.0)
    assert one_plane(image, "RGGB").green == (1 if is_believed else 0)


@pytest.mark.parametrize(
    ("apart", "is_believed"), [(20.0, True), (65.0, True), (110.0, False), (400.0, False)]
)
def test_a_header_is_believed_unless_the_other_diagonal_is_clearly_more_alike(
    apart: float, is_believed: bool
) -> None:
    """By 20 counts there, so by four times as many here: neither pair is quite alike, the header's word decides."""
    image = sky(10, apart / 2, -apart / 2, -10) + noise()
    assert one_plane(image, "RGGB").green == (1 if is_believed else 0)


def test_levels_are_read_between_whole_counts() -> None:
    """A dark sky with a noise of one count: parts of a count are the difference of two levels."""
    drawn = sky(0.3, 0.0, 0.1, -0.2, 100.0)
    image = np.rint(drawn + np.random.default_rng(4).normal(0, 1, SHAPE))
    found = one_plane(image, "RGGB").pixels - (image - drawn)
    assert np.ptp([found[i::2, j::2].mean() for i in (0, 1) for j in (0, 1)]) < 0.04


def test_faint_stars_do_not_count_as_sky() -> None:
    """On a twentieth of the red pixels light of 4.5 times the noise: it would raise their level by 0.2 of it."""
    drawn = sky(-50, 0, 0, 80)
    image = drawn + noise()
    image[0::40, 0::2] += 4.5 * 10.0
    found = one_plane(image, "RGGB").pixels - image + drawn
    red, green = found[0, 0], found[0, 1]
    assert abs(red - green) < 0.6  # of a noise of 10; half of the twentieth raise the middle of the others


def light_of_stars(more: float, scatter: float, count: int = 25) -> np.ndarray:
    """Light on four kinds of pixels, by so much more of all of it on the diagonal of row 0, column 0; shape (n, 2, 2)."""
    each = more + scatter * norm.ppf((np.arange(count) + 0.5) / count)
    even, odd = (1 + each) / 2, (1 - each) / 2
    return np.array([[even / 2, odd * 0.7], [odd * 0.3, even / 2]]).transpose(2, 0, 1)


@pytest.mark.parametrize(("more", "green"), [(0.0, None), (0.020, None), (0.045, 0), (0.2, 0), (-0.045, 1)])
def test_stars_with_more_light_on_one_diagonal_tell_a_mosaic(more: float, green: int | None) -> None:
    """A few hundredths of it; less may come from pixels that are not quite alike."""
    light = light_of_stars(abs(more), 0.0)
    assert green_diagonal(light if more >= 0 else light[:, :, ::-1]) == green


@pytest.mark.parametrize(("errors", "green"), [(3.0, None), (4.0, None), (6.5, 0), (9.0, 0)])
def test_stars_tell_a_mosaic_where_their_scatter_would_not(errors: float, green: int | None) -> None:
    """The median of n values with a normal scatter s has the standard error s times the root of pi / 2n."""
    scatter, count = 0.2, 25
    error = scatter * np.sqrt(np.pi / 2 / count)
    assert green_diagonal(light_of_stars(errors * error, scatter, count)) == green
