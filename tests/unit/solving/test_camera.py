"""A lens and attitudes from matched stars: what was drawn comes out again."""

from __future__ import annotations

import cProfile
import pstats
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.solving.camera import FieldStars, Lens, fit_lens

WIDTH, HEIGHT, FOCAL = 3000, 2000, 20_000.0  # 10 arcsec/px
HALF = float(np.hypot(WIDTH, HEIGHT)) / 2
ARCSEC = np.pi / 180 / 3600


def lens(order: int, parity: float = -1.0, bend_px: float = 6.0) -> Lens:
    rng = np.random.default_rng(8)
    terms = np.zeros((2, order + 1, order + 1))
    for i in range(order + 1):
        for j in range(order + 1):
            if 2 <= i + j <= order:
                terms[:, i, j] = rng.normal(0, bend_px, 2)
    return Lens(FOCAL, parity, (2e-5, -1e-5), terms, HALF)


def plain(parity: float = -1.0) -> Lens:
    return Lens(FOCAL * 1.0005, parity, (0.0, 0.0), np.zeros((2, 2, 2)), HALF)


def field(
    true: Lens, seed: int, count: int = 40, noise_px: float = 0.05, wrong: int = 0
) -> tuple[FieldStars, np.ndarray]:
    """A frame's stars with an attitude to begin with that is 5 arcsec off, and the true attitude."""
    rng = np.random.default_rng(seed)
    pixels = rng.uniform([-WIDTH / 2, -HEIGHT / 2], [WIDTH / 2, HEIGHT / 2], (count, 2))
    attitude = Rotation.from_quat(rng.normal(size=4)).as_matrix()
    sky = true.directions(pixels) @ attitude.T
    seen = pixels + rng.normal(0, noise_px, pixels.shape)
    seen[:wrong] += rng.uniform(1.5, 3.0, (wrong, 2))
    off = Rotation.from_rotvec(rng.normal(0, 5 * ARCSEC, 3)).as_matrix()
    start = FieldStars(
        seen,
        sky,
        np.full(count, 0.01 * ARCSEC),
        attitude @ off,
        np.zeros(3),
        False,
        np.ones(count, dtype=bool),
    )
    return start, attitude


def error_arcsec(found: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Turn between two attitudes about the camera's axes; scipy's rotations, not ours."""
    return Rotation.from_matrix(true.T @ found).as_rotvec() / ARCSEC


@pytest.mark.parametrize("parity", [1.0, -1.0])
@pytest.mark.parametrize("order", [1, 2, 3])
def test_attitudes_come_out_to_what_the_noise_allows(order: int, parity: float) -> None:
    made = [field(lens(order, parity), seed) for seed in range(6)]
    fit = fit_lens([start for start, _ in made], plain(parity))
    off = np.array([error_arcsec(f.attitude, true) for f, (_, true) in zip(fit.fields, made, strict=True)])
    # 0.05 px of 10 arcsec over 40 stars: 0.08 arcsec of pointing; roll by the lever of some 750 px (times 20000 px
    # of focal length): 2 arcsec. Three times that, for 6 frames.
    assert np.abs(off[:, :2]).max() < 0.3
    assert np.abs(off[:, 2]).max() < 7.0
    assert fit.lens.order == order
    assert fit.noise_px == pytest.approx(0.05, rel=0.15)


def test_wrong_pairs_are_left_out() -> None:
    made = [field(lens(2), seed, wrong=3) for seed in range(4)]
    fit = fit_lens([start for start, _ in made], plain())
    for found, (_, true) in zip(fit.fields, made, strict=True):
        assert not found.used[:3].any()
        assert found.used[3:].mean() > 0.9
        assert np.abs(error_arcsec(found.attitude, true)[:2]).max() < 0.3


def test_shared_lens_gives_a_poor_frame_the_attitude_that_it_could_not_give_itself() -> None:
    true = lens(3)
    made = [field(true, seed, 60) for seed in range(5)] + [field(true, 9, 6)]
    start, attitude = made[-1]
    together = error_arcsec(fit_lens([s for s, _ in made], plain()).fields[-1].attitude, attitude)
    alone = error_arcsec(fit_lens([start], plain()).fields[-1].attitude, attitude)
    assert np.abs(together[:2]).max() < 1.0 < np.abs(alone[:2]).max()


def test_shear_of_a_frame_of_its_own_does_not_turn_it() -> None:
    # as refraction does it: 1e-4 along one direction, where time and place are not known
    true = lens(1)
    made = []
    for seed in range(4):
        start, attitude = field(true, seed)
        squeezed = start.pixels @ np.array([[1 + 1e-4, 5e-5], [5e-5, 1 - 1e-4]])
        made.append((replace(start, pixels=squeezed, has_own_shape=True), attitude))
    fit = fit_lens([start for start, _ in made], plain())
    for found, (_, attitude) in zip(fit.fields, made, strict=True):
        assert np.abs(error_arcsec(found.attitude, attitude)[:2]).max() < 0.3


def test_pixels_and_directions_are_each_others_inverse() -> None:
    some = lens(3)
    pixels = np.random.default_rng(1).uniform([-1500, -1000], [1500, 1000], (50, 2))
    assert some.pixels(some.directions(pixels)) == pytest.approx(pixels, abs=1e-6)
    assert np.isnan(some.pixels(np.array([[0.0, 0.0, -1.0]]))).all()


@pytest.mark.parametrize(("count", "is_fitted"), [(30, False), (40, True)])
def test_a_distortion_is_fitted_where_each_of_its_terms_has_four_numbers_of_stars(
    count: int, is_fitted: bool
) -> None:
    """Order 3 has 17 unknowns of the lens and three of the frame: 34 stars, 68 numbers. Fewer would be fitted by the
    noise of a few wrong pairs (common practice, no source).
    """
    start, _ = field(lens(3), 2, count)
    assert (fit_lens([start], plain()).lens.order == 3) == is_fitted


@pytest.mark.parametrize(("off_px", "is_used"), [(0.2, True), (0.3, False)])
def test_a_star_is_left_out_where_chance_would_not_put_it(off_px: float, is_used: bool) -> None:
    """Of offsets in two coordinates with a scatter of 0.05 px each, exp(-4**2 / 2) = 3e-4 are beyond 0.2 px and
    exp(-6**2 / 2) = 1e-8 beyond 0.3 (Rayleigh distribution).
    """
    true, starts = lens(2), []
    for seed in range(6):
        start, attitude = field(true, seed)
        pixels = start.pixels.copy()
        pixels[0] = true.pixels(start.sky[:1] @ attitude)[0] + [off_px, 0.0]
        starts.append(replace(start, pixels=pixels))
    used = [found.used[0] for found in fit_lens(starts, plain()).fields]
    assert all(used) if is_used else not any(used)


def test_of_a_frame_whose_stars_do_not_fit_the_four_best_stay() -> None:
    """Two stars are enough for an attitude, four show whether one of them is wrong."""
    made = [field(lens(2), seed)[0] for seed in range(4)]
    lost, _ = field(lens(2), 9, 7)
    scattered = lost.pixels + np.random.default_rng(3).normal(0, 30.0, lost.pixels.shape)
    found = fit_lens([*made, replace(lost, pixels=scattered)], plain()).fields[-1]
    assert found.used.sum() == 4


@pytest.mark.parametrize("noise_px", [0.01, 0.05, 0.4, 1.5])
def test_distortion_is_told_by_stars_of_any_noise(noise_px: float) -> None:
    """Of 6 px in the corners: order 2, neither hidden by the noise nor made of it."""
    fit = fit_lens([field(lens(2), seed, 80, noise_px)[0] for seed in range(8)], plain())
    assert fit.lens.order == 2
    assert fit.noise_px == pytest.approx(noise_px, rel=0.15)


def test_attitudes_are_found_from_a_start_that_is_degrees_off() -> None:
    """Nearly three degrees, or 1000 px: far more than any solver leaves, and far from where derivatives hold."""
    made = []
    for seed in range(4):
        start, attitude = field(lens(2), seed)
        off = Rotation.from_rotvec(np.random.default_rng(seed).normal(0, 10_000 * ARCSEC, 3)).as_matrix()
        made.append((replace(start, attitude=attitude @ off), attitude))
    fit = fit_lens([start for start, _ in made], plain())
    assert fit.lens.order == 2
    for found, (_, true) in zip(fit.fields, made, strict=True):
        assert np.abs(error_arcsec(found.attitude, true)[:2]).max() < 0.3


def test_pairs_by_chance_are_given_up_soon() -> None:
    """Of four frames and a lens each round solves five systems; five orders of distortion are tried at most."""
    rng = np.random.default_rng(1)
    some = [field(lens(2), seed)[0] for seed in range(4)]
    by_chance = [replace(start, pixels=rng.uniform(-1000, 1000, start.pixels.shape)) for start in some]
    seen = cProfile.Profile()
    seen.runcall(fit_lens, by_chance, plain())
    solved = [calls[0] for name, calls in pstats.Stats(seen).stats.items() if name[2] == "lstsq"]  # type: ignore[attr-defined]
    assert solved[0] <= 5 * 5 * 7


def test_stars_in_a_line_tell_what_they_can() -> None:
    """On the sensor's diagonal: no shape of the frame across it, but where it looks."""
    start, attitude = field(lens(1), 3)
    along = np.linspace(-1000, 1000, 40)[:, None] * [1.0, 0.6]
    sky = lens(1).directions(along) @ attitude.T
    line = replace(start, pixels=along, sky=sky, has_own_shape=True)
    found = fit_lens([line], plain()).fields[0]
    assert np.abs(error_arcsec(found.attitude, attitude)[:2]).max() < 1.0
