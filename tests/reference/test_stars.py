"""Stars measured from pixels against drawn truth, photutils and sep."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import sep
from photutils.morphology import data_properties

from polarcheck.stars import find_stars, mark_candidates, summarise
from polarcheck.stars.mosaic import one_plane
from tests.drawn_cameras import Shot, Winged, profile
from tests.drawn_stars import draw, recorded


@pytest.mark.parametrize("fwhm", [2.2, 3.0, 4.5, 7.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_width_of_round_stars(fwhm: float, seed: int) -> None:
    """Drawn Gaussians, integrated over the pixels: FWHM within 3 % of the drawn value, elongation within 5 % of 1."""
    image, _, _ = draw((900, 1200), 90, fwhm, seed=seed)
    stars = summarise(find_stars(image))
    assert stars.fwhm_px == pytest.approx(fwhm, rel=0.03)
    assert stars.elongation == pytest.approx(1.0, abs=0.05)
    assert stars.trail_px is None
    assert not stars.has_moved


@pytest.mark.parametrize(("fwhm", "beta"), [(2.2, None), (3.0, None), (3.0, 2.5), (6.0, 3.0)])
def test_width_of_stars_sampled_at_the_centres_of_pixels(fwhm: float, beta: float | None) -> None:
    """What programs draw that do not integrate: 3 % of the drawn FWHM too."""
    image, _, _ = draw((900, 1200), 70, fwhm, beta=beta, seed=27, sampled=True)
    assert summarise(find_stars(image)).fwhm_px == pytest.approx(fwhm, rel=0.03)


@pytest.mark.parametrize(("fwhm", "beta"), [(3.0, 2.5), (3.5, 3.0), (5.0, 4.765)])
def test_width_of_stars_with_wings(fwhm: float, beta: float) -> None:
    """Moffat profiles, as seeing makes them (4.765: of turbulence; from memory): 3 % of the drawn FWHM."""
    image, _, _ = draw((900, 1200), 70, fwhm, beta=beta, seed=3)
    stars = summarise(find_stars(image))
    assert stars.fwhm_px == pytest.approx(fwhm, rel=0.03)
    assert stars.elongation == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("noise", [12.0, 40.0, 120.0])
def test_noise_does_not_make_stars_long(noise: float) -> None:
    image, _, _ = draw((900, 1200), 100, 3.0, seed=20, noise=noise, peak=(300.0, 30_000.0))
    stars = summarise(find_stars(image))
    assert stars.fwhm_px == pytest.approx(3.0, rel=0.03)
    assert stars.elongation == pytest.approx(1.0, abs=0.05)
    assert stars.trail_px is None


@pytest.mark.parametrize(
    ("fwhm", "trail", "angle"),
    [(3.0, 3.0, 30.0), (3.0, 8.0, 100.0), (4.0, 5.0, 170.0), (2.5, 14.0, 45.0), (5.0, 12.0, 0.0)],
)
def test_trails(fwhm: float, trail: float, angle: float) -> None:
    """Elongation within 5 %, direction within 3 deg, length within 5 %, of drawn trails."""
    image, _, _ = draw((1000, 1300), 80, fwhm, trail=trail, angle=angle, seed=4)
    stars = summarise(find_stars(image))
    assert stars.elongation == pytest.approx(recorded(fwhm, trail)[1], rel=0.05)
    assert stars.trail_angle_deg is not None
    assert abs((stars.trail_angle_deg - angle + 90) % 180 - 90) < 3
    assert stars.trail_px == pytest.approx(trail, rel=0.05)
    assert stars.fwhm_px == pytest.approx(fwhm, rel=0.04)


@pytest.mark.parametrize(("trail", "angle"), [(40.0, 20.0), (90.0, 133.0), (150.0, 60.0)])
def test_long_trails(trail: float, angle: float) -> None:
    """As a mount leaves them that still slews: 5 %, 3 deg; elongation of the longest, which fill no window, 20 %."""
    image, _, _ = draw((900, 1200), 30, 3.0, trail=trail, angle=angle, seed=21)
    stars = summarise(find_stars(image))
    assert stars.has_moved
    assert stars.trail_px == pytest.approx(trail, rel=0.05)
    assert stars.elongation == pytest.approx(recorded(3.0, trail)[1], rel=0.05 if trail < 110 else 0.2)
    assert stars.trail_angle_deg == pytest.approx(angle, abs=3.0)


def test_five_stars_are_enough_to_see_a_trail_and_chance_is_not_one() -> None:
    """Directions at random agree that well in 2 of 1000 frames, by the Rayleigh test; here none of 40 may."""
    image, _, _ = draw((400, 500), 5, 3.0, trail=8.0, angle=20.0, seed=22)
    assert summarise(find_stars(image)).has_moved
    for seed in range(40):
        image, _, _ = draw((150, 200), 6, 3.0, seed=100 + seed)
        assert summarise(find_stars(image)).trail_px is None


def test_second_moments_agree_with_photutils_and_sep() -> None:
    """photutils.morphology.data_properties and sep's windows, on bright stars without a threshold to cut them off.

    Elongation within 2 %, place within 0.02 px.
    """
    image, x, y = draw(
        (600, 800), 25, 4.0, trail=5.0, angle=25.0, seed=5, peak=(15_000.0, 30_000.0), noise=2.0
    )
    table = find_stars(image)
    assert 23 <= len(table) <= 25  # two may touch
    flat = image - np.median(image)
    for i in np.flatnonzero(table.has_shape)[:10]:
        cx, cy = round(float(table.x_px[i])), round(float(table.y_px[i]))
        cut = flat[cy - 14 : cy + 15, cx - 14 : cx + 15].astype(float)
        other = data_properties(np.where(cut > 0, cut, 0.0))
        assert table.elongation[i] == pytest.approx(float(other.elongation), rel=0.02)
        assert table.x_px[i] - cx + 14 == pytest.approx(
            float(np.ravel(other.x_centroid if hasattr(other, "x_centroid") else other.xcentroid)[0]),
            abs=0.03,
        )
    found = sep.extract(np.ascontiguousarray(flat), 5.0, err=2.0)
    ratios = []
    for i in np.flatnonzero(table.has_shape):
        apart = np.hypot(found["x"] - table.x_px[i], found["y"] - table.y_px[i])
        nearest = apart.argmin()
        if apart[nearest] < 0.1:  # of a long star sep may make two
            ratios.append(table.elongation[i] * found["b"][nearest] / found["a"][nearest])
    assert len(ratios) >= 15
    # sep ends its moments at a threshold, which costs the shorter axis more
    assert np.median(ratios) == pytest.approx(1.0, abs=0.04)
    true = [np.hypot(x - table.x_px[i], y - table.y_px[i]).min() for i in range(len(table))]
    assert np.median(true) < 0.03


def test_number_of_stars_is_that_drawn() -> None:
    """Every drawn star stands 25 times above the noise; blends may cost a few."""
    image, _, _ = draw((1200, 1600), 150, 3.0, seed=6)
    assert 143 <= len(find_stars(image)) <= 150


def test_what_a_sensor_adds_is_no_star() -> None:
    """Hot pixels that leak into their neighbours, hot columns; counts of whole numbers above a sky without noise."""
    image, _, _ = draw((800, 1000), 60, 3.0, seed=23)
    rng = np.random.default_rng(2)
    for y, x in zip(rng.integers(1, 799, 150), rng.integers(1, 999, 150), strict=True):
        image[y, x] += 20_000
        for dy, dx in ((0, 1), (0, -1), (1, 0), (-1, 0)):
            image[y + dy, x + dx] += 600
    image[:, 97::211] += 300
    stars = summarise(find_stars(image))
    assert 55 <= stars.stars <= 66
    assert stars.fwhm_px == pytest.approx(3.0, rel=0.03)
    assert not stars.has_moved
    quiet = np.round(draw((800, 1000), 60, 3.0, seed=24, noise=0.3, sky=20.0)[0])
    assert 56 <= summarise(find_stars(quiet)).stars <= 60


def test_star_saturated_in_one_plane_only_counts_as_saturated() -> None:
    one, _, _ = draw((400, 500), 25, 3.5, seed=25, peak=(2000.0, 20_000.0))
    planes = np.stack([one, one, 4 * one]).clip(max=30_000)
    table = find_stars(planes)
    for i in np.flatnonzero(table.has_shape):
        y, x = round(float(table.y_px[i])), round(float(table.x_px[i]))
        assert planes[2, y - 1 : y + 2, x - 1 : x + 2].max() < 29_900
    assert table.is_saturated.sum() >= 3


def test_hot_pixels_and_saturated_stars_are_left_out() -> None:
    image, _, _ = draw((800, 1000), 60, 3.5, seed=7, peak=(300.0, 9000.0))
    rng = np.random.default_rng(1)
    hot_y, hot_x = rng.integers(0, 800, 200), rng.integers(0, 1000, 200)
    image[hot_y, hot_x] += 20_000
    clipped = np.minimum(draw((800, 1000), 60, 3.5, seed=7, peak=(300.0, 90_000.0))[0], 30_000)
    clean = summarise(find_stars(image))
    assert clean.stars <= 66
    assert clean.fwhm_px == pytest.approx(3.5, rel=0.03)
    table = find_stars(clipped)
    assert table.is_saturated.sum() >= 5
    assert not table.has_shape[table.is_saturated].any()
    assert (table.peak[table.is_saturated] > 28_000).all()
    said = find_stars(clipped, saturation=12_000.0)
    assert said.is_saturated.sum() > table.is_saturated.sum()


@pytest.mark.parametrize("pattern", ["RGGB", "GBRG"])
@pytest.mark.parametrize("gains", [(1.0, 1.0, 1.0), (0.4, 1.0, 0.6), (1.0, 0.3, 0.2)])
def test_colour_mosaic(pattern: str, gains: tuple[float, float, float]) -> None:
    """White, sensor-tinted and red stars on a mosaic whose colours have other sky levels: 3 %, 5 %, 3 deg."""
    shape = (900, 1200)
    tint, level = np.ones(shape), np.zeros(shape)
    for k, letter in enumerate(pattern):
        i, j = divmod(k, 2)
        colour = "RGB".index(letter)
        tint[i::2, j::2] = gains[colour]
        level[i::2, j::2] = (-300.0, 200.0, -100.0)[colour]
    for trail in (0.0, 6.0):
        image, _, _ = draw(
            shape, 80, 3.2, trail=trail, angle=60.0, seed=8, tint=tint, peak=(2000.0, 30_000.0)
        )
        stars = summarise(find_stars(image + level.astype(np.float32), mosaic=pattern))
        _, elongation = recorded(3.2, trail)
        assert stars.elongation == pytest.approx(elongation, rel=0.05)
        if trail:
            assert stars.trail_angle_deg == pytest.approx(60.0, abs=3.0)
        else:
            assert stars.fwhm_px == pytest.approx(3.2, rel=0.03)


@pytest.mark.parametrize("said", ["RGGB", "GRBG"])
def test_green_is_known_by_its_sky_when_the_rows_are_upside_down(said: str) -> None:
    """Stars without light in red and blue: taken for green, the dark pixels would make the peaks wide or narrow."""
    shape = (700, 900)
    tint, level = np.full(shape, 0.02), np.zeros(shape)
    tint[0::2, 1::2] = tint[1::2, 0::2] = 1.0
    level[0::2, 0::2], level[1::2, 1::2] = -300.0, 250.0
    image, _, _ = draw(shape, 50, 3.5, seed=26, tint=tint, peak=(3000.0, 30_000.0))
    stars = summarise(find_stars(image + level.astype(np.float32), mosaic=said))
    assert stars.fwhm_px == pytest.approx(3.5, rel=0.03)


@pytest.mark.parametrize("said", [True, False])
@pytest.mark.parametrize(
    ("pattern", "fwhm", "settings"),
    [
        ("RGGB", 1.7, {}),
        ("GBRG", 2.0, {"gains": (0.4, 1.0, 0.9), "bits": 12, "peak": (200.0, 4000.0)}),
        ("BGGR", 3.0, {"sky": 5.0, "read_noise": 1.5}),
        ("GRBG", 2.4, {"gains": (1.8, 1.0, 1.5), "slope": 1.0, "vignetting": 0.4}),
        ("RGGB", 2.6, {"trail": 5.0, "angle": 40.0}),
        ("BGGR", 4.0, {"beta": 3.0}),
        ("GRBG", 2.2, {"count": 1500}),
        ("GBRG", 5.5, {"peak": (500.0, 80_000.0)}),
    ],
)
def test_width_on_a_colour_camera_with_and_without_a_named_pattern(
    pattern: str, fwhm: float, settings: dict[str, Any], said: bool
) -> None:
    """Coloured stars and sky, gradients, hot pixels, full wells, 12 and 14 bits: 5 % of the drawn FWHM."""
    shot = Shot(shape=(700, 1000), fwhm=fwhm, pattern=pattern, **({"count": 120} | settings))
    stars = summarise(find_stars(shot.draw(), mosaic=pattern if said else None))
    assert stars.fwhm_px == pytest.approx(fwhm, rel=0.05)
    if shot.trail:
        assert stars.trail_px == pytest.approx(shot.trail, rel=0.05)
    else:
        assert not stars.has_moved


def test_alternating_rows_or_columns_are_no_mosaic() -> None:
    """Two amplifiers: levels differ from row to row; green pixels would be alike on one diagonal."""
    image = Shot(shape=(700, 1000), count=120, pattern=None, slope=0.0).draw()
    assert one_plane(image).green is None
    rows = image.copy()
    rows[::2] += 60
    assert one_plane(rows).green is None
    columns = image.copy()
    columns[:, 1::2] += 60
    assert one_plane(columns).green is None


@pytest.mark.parametrize("pattern", ["RGGB", "BGGR", "GRBG", "GBRG"])
def test_green_pixels_are_known_by_the_levels_of_the_sky(pattern: str) -> None:
    plane = one_plane(Shot(shape=(400, 600), count=20, pattern=pattern).draw())
    assert plane.green == (0 if pattern[0] == "G" else 1)
    levels = [np.median(plane.pixels[i::2, j::2]) for i in (0, 1) for j in (0, 1)]
    assert np.ptp(levels) < 20  # a quarter of the noise; the sky slopes, by other amounts in other colours


def test_few_or_too_small_stars_have_no_width() -> None:
    """Four stars; and stars of 1.2 px, of which pixels tell hardly more than that they are small."""
    assert summarise(find_stars(draw((400, 500), 4, 3.0, seed=30)[0])).fwhm_px is None
    assert summarise(find_stars(draw((600, 800), 60, 1.2, seed=31)[0])).fwhm_px is None


def test_trail_with_wings_has_no_width_rather_than_a_wrong_one() -> None:
    """Wings add up across a trail: a Moffat profile of index 2.5 would come out 15 % too wide."""
    stars = summarise(find_stars(draw((700, 900), 50, 3.0, trail=14.0, angle=30.0, beta=2.5, seed=32)[0]))
    assert stars.has_moved
    assert stars.fwhm_px is None or stars.fwhm_px == pytest.approx(3.0, rel=0.05)


@pytest.mark.parametrize(("trail", "beta"), [(12.1, 4.15), (13.8, 3.4)])
def test_wings_that_a_long_trail_hides_leave_the_width_unknown(trail: float, beta: float) -> None:
    """A Gaussian fits such trails of 6 widths best, and gives 13 % too much; the second moments contradict it."""
    shot = Shot(shape=(700, 1000), count=120, fwhm=2.2, trail=trail, angle=25.0, beta=beta)
    stars = summarise(find_stars(shot.draw()))
    assert stars.has_moved
    assert stars.fwhm_px is None


def test_wings_on_which_few_stars_do_not_agree_leave_the_width_unknown() -> None:
    """Eleven faint stars of index 3.7 in a trail: 2.5 and 3.5 fit them alike, and give 0.95 and 0.99 of their width."""
    few = Shot(count=45, fwhm=5.3168, trail=8.5356, angle=137.48, beta=3.6934, pattern="GBRG", sky=820.0, slope=0.55,
               gains=(0.81, 1.0, 0.94), sky_colour=(1.45, 1.0, 0.88), tints=0.28, vignetting=0.41, read_noise=1.83,
               pedestal=744.0, electrons=0.839, bits=12, hot=6.4e-6, peak=(302.6, 27850.0))  # fmt: skip
    widths = [
        summarise(find_stars(replace(few, seed=seed).draw(), mosaic="GBRG")).fwhm_px
        for seed in range(5021, 5027)
    ]
    assert None in widths
    assert [width for width in widths if width] == pytest.approx(
        [5.3168] * (6 - widths.count(None)), rel=0.05
    )
    many = summarise(find_stars(replace(few, count=180, peak=(3000.0, 27850.0)).draw(), mosaic="GBRG"))
    assert many.fwhm_px == pytest.approx(5.3168, rel=0.03)


def test_long_trails_without_wings_keep_their_width() -> None:
    shot = Shot(shape=(700, 1000), count=120, fwhm=2.2, trail=12.1, angle=25.0)
    assert summarise(find_stars(shot.draw())).fwhm_px == pytest.approx(2.2, rel=0.05)


@pytest.mark.parametrize(("fwhm", "beta"), [(2.05, 4.4), (2.3, 3.0), (2.1, 5.0)])
def test_small_stars_with_wings(fwhm: float, beta: float) -> None:
    """An index between those tried, and pixels nearly as wide as the stars: 5 % of the drawn FWHM."""
    shot = Shot(shape=(700, 1000), count=120, fwhm=fwhm, beta=beta)
    assert summarise(find_stars(shot.draw())).fwhm_px == pytest.approx(fwhm, rel=0.05)


def test_smallest_stars_with_wings_have_no_width() -> None:
    """Of 1.7 px, where it would come out 6 % too wide."""
    shot = Shot(shape=(700, 1000), count=120, fwhm=1.7, beta=4.4)
    assert summarise(find_stars(shot.draw())).fwhm_px is None


def test_winged_stars_drawn_once_are_those_drawn_one_by_one() -> None:
    """The drawings themselves: interpolated to 1e-5 of the peak."""
    span = np.arange(-12, 13)
    for trail in (0.0, 6.0):
        drawn = profile(span - 0.23, span + 0.41, 2.0, trail, 33.0, 2.5)
        assert Winged.of(13, 2.0, trail, 33.0, 2.5).at(span - 0.23, span + 0.41) == pytest.approx(
            drawn, abs=1e-5
        )


def test_a_few_stars_that_differ_or_are_left_of_many_have_no_width() -> None:
    """One of six is 25 % wider: the standard error of their median is over 2 %, however alike the other five are."""
    table = find_stars(draw((400, 500), 6, 3.0, seed=22)[0])
    assert len(table) == 6
    assert summarise(table).fwhm_px == pytest.approx(3.0, rel=0.05)
    widths = 3.0 * np.array([1.0, 0.999, 1.001, 1.0, 1.002, 1.25])
    assert summarise(replace(table, across_px=widths)).fwhm_px is None
    many = find_stars(draw((900, 1200), 150, 3.0, seed=33)[0])
    left = np.where(np.cumsum(np.isfinite(many.across_px)) <= 6, many.across_px, np.nan)
    assert summarise(many).fwhm_px is not None
    assert summarise(replace(many, across_px=left)).fwhm_px is None


def test_a_slight_trail_changes_the_width_of_neighbours_little() -> None:
    """Whether a trail of half a pixel is told from chance differs from frame to frame; the width must not."""
    widths = [
        summarise(find_stars(Shot(shape=(500, 700), count=60, fwhm=1.8, trail=0.6, seed=seed).draw())).fwhm_px
        for seed in range(40, 46)
    ]
    known = [width for width in widths if width is not None]
    assert len(known) >= 4
    assert max(known) < 1.06 * min(known)


def test_colour_planes_are_added() -> None:
    planes = np.stack([draw((500, 700), 40, 3.2, seed=9, noise=20.0)[0] for _ in range(3)])
    stars = summarise(find_stars(planes))
    assert stars.fwhm_px == pytest.approx(3.2, rel=0.03)
    assert stars.stars >= 36


def test_faint_noise_is_no_star_and_an_empty_sky_says_unknown() -> None:
    image = np.random.default_rng(0).normal(1000, 12, (600, 800)).astype(np.float32)
    stars = summarise(find_stars(image))
    assert stars.stars == 0
    assert (stars.fwhm_px, stars.elongation, stars.trail_px, stars.trail_angle_deg) == (
        None,
        None,
        None,
        None,
    )
    assert not stars.has_moved


@pytest.mark.parametrize("fill", [0.0, np.nan, 65535.0])
def test_blank_images_hold_no_star(fill: float) -> None:
    assert len(find_stars(np.full((64, 80), fill, dtype=np.float32))) == 0


def test_whole_numbers_and_patches_without_values_are_read() -> None:
    image, _, _ = draw((600, 800), 50, 3.0, seed=10)
    whole = np.clip(image, 0, 65535).astype(np.uint16)
    assert summarise(find_stars(whole)).fwhm_px == pytest.approx(3.0, rel=0.03)
    image[100:200, 100:300] = np.nan
    assert summarise(find_stars(image)).fwhm_px == pytest.approx(3.0, rel=0.03)


def test_mount_that_moved_is_seen() -> None:
    """Stars long alike; not so where each is long in its own direction, as tilt, coma or field rotation makes them."""
    moved, _, _ = draw((800, 1000), 60, 3.0, trail=7.0, angle=20.0, seed=11)
    assert summarise(find_stars(moved)).has_moved
    mixed = [
        draw((800, 1000), 20, 3.0, trail=7.0, angle=a, seed=12 + k)[0] - 1000
        for k, a in enumerate((0, 60, 120))
    ]
    stars = summarise(find_stars(np.sum(mixed, axis=0) + 1000))
    assert not stars.has_moved
    assert stars.elongation == pytest.approx(recorded(3.0, 7.0)[1], rel=0.06)


def test_map_shows_where_stars_are_wide() -> None:
    left, _, _ = draw((600, 500), 40, 3.0, seed=13)
    right, _, _ = draw((600, 500), 40, 5.0, seed=14)
    grid = summarise(find_stars(np.concatenate([left, right], axis=1))).map_fwhm_px
    assert np.nanmedian(grid[:, :2]) == pytest.approx(3.0, rel=0.05)
    assert np.nanmedian(grid[:, 2:]) == pytest.approx(5.0, rel=0.05)


def test_marks_are_bright_round_alone_and_inside() -> None:
    image, x, y = draw((600, 800), 40, 3.0, seed=15, peak=(500.0, 30_000.0))
    table = find_stars(image)
    marks = mark_candidates(table, margin_px=40.0)
    assert len(marks) >= 3
    assert (np.diff(table.flux[marks]) <= 0).all()
    for i in marks:
        assert 40 < table.x_px[i] < 760
        assert 40 < table.y_px[i] < 560
        assert np.hypot(x - table.x_px[i], y - table.y_px[i]).min() < 0.3
        apart = np.hypot(table.x_px - table.x_px[i], table.y_px - table.y_px[i])
        near = (apart > 0) & (apart < 20)
        assert (table.flux[near] < 0.11 * table.flux[i]).all()
