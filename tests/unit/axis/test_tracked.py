"""Frames that followed the sky: the axis of mounts made by the exact motion, guided and not, whole and broken."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from polarcheck.axis.correlation import Series
from polarcheck.axis.course import Course
from polarcheck.axis.fit import AxisFit, fit_axis
from polarcheck.axis.mixture import Estimate
from polarcheck.axis.sorting import Break
from polarcheck.axis.tracked import TrackedAxis, contradiction_of, is_coarse, joined, sides_of
from polarcheck.axis.tracked_equations import out_of_square
from polarcheck.constants import ARCMIN, ARCSEC, FRAME_NOISE_PX
from polarcheck.errors import GeometryError
from polarcheck.frames import SENSOR_WEIGHTS, FrameSet
from polarcheck.sky import Sky
from polarcheck.vectors import rotation_matrix, tangent_basis
from tests.benchmarks.mounts import NORTH, SOUTH
from tests.benchmarks.tracked_mounts import Session, frames_of

PLAIN = Session(hours=2.0, frames=40)
GUIDED = Session(hours=3.0, frames=37, guided=True)


def fitted(frames: FrameSet, guided: bool | None = None, moved: np.ndarray | None = None) -> AxisFit:
    """The fit; `moved`, shape (n, 3, 3), turns what each frame sees."""
    first = frames.frames[0]
    assert first.site is not None
    sky = Sky.over(first.site)
    icrs, utc = np.array([f.sky for f in frames.frames]), np.array([f.utc for f in frames.frames])
    seen = sky.observed(icrs, utc)
    if moved is not None:
        seen = np.einsum("nij,nkj->nki", moved, seen)
        icrs = sky.icrs(seen, utc)
    noise = np.full(len(icrs), FRAME_NOISE_PX * first.pixel_scale_arcsec * ARCSEC)
    seconds = (utc - utc[0]).sum(axis=-1) * 86400
    course = Course(seconds, icrs, guided)
    return fit_axis(seen, SENSOR_WEIGHTS, noise, sky.refracted_pole.direction, course=course)


def drawn(session: Session, seed: int = 1) -> FrameSet:
    return frames_of(session, np.random.default_rng(seed))


def sigmas_off(fit: AxisFit, axis: np.ndarray) -> float:
    """Largest deviation of both components over their standard errors."""
    apart = tangent_basis(axis).T @ (fit.axis - axis)
    return float(np.abs(apart / np.sqrt(np.diag(fit.covariance))).max())


@pytest.mark.parametrize("site", [NORTH, SOUTH])
@pytest.mark.parametrize("dither", [0.0, 10.0])
@pytest.mark.parametrize("error", [(20.0, 10.0), (-100.0, 80.0)])
def test_guided_frames_are_answered_from_their_rotation(
    site: object, dither: float, error: tuple[float, float]
) -> None:
    session = replace(GUIDED, site=site, dither_px=dither, error_arcmin=error)  # type: ignore[arg-type]
    fit = fitted(drawn(session))
    assert fit.is_guided
    assert sigmas_off(fit, session.axis) < 3.5
    assert np.sqrt(np.diag(fit.covariance)).max() < 15 * ARCMIN


def test_a_change_of_the_pier_side_parts_guided_frames_only() -> None:
    session = replace(GUIDED, frames=60, hours=4.0, dither_px=8.0, flip=True, start_deg=-35.0)
    fit = fitted(drawn(session))
    assert fit.is_guided
    assert fit.group_sizes.tolist() == [30, 30]
    assert sigmas_off(fit, session.axis) < 3.5


def test_two_guided_frames_are_refused() -> None:
    session = replace(GUIDED, frames=2, hours=1.0)
    with pytest.raises(GeometryError, match="guide"):
        fitted(drawn(session))


def test_it_may_be_said_that_no_guider_was_at_work() -> None:
    fit = fitted(drawn(replace(GUIDED, error_arcmin=(0.0, 0.0))), guided=False)
    assert not fit.is_guided
    assert np.sqrt(np.diag(fit.covariance)).max() < 1 * ARCMIN


def test_plain_tracking_is_one_group_without_a_word() -> None:
    fit = fitted(drawn(PLAIN))
    assert fit.tracked is not None
    assert not fit.is_guided
    assert fit.contradiction is None
    assert fit.used.all()
    assert len(fit.camera_axes) == 1
    assert sigmas_off(fit, PLAIN.axis) < 3.5


@pytest.mark.parametrize("count", [8, 40])
def test_a_frame_solved_wrongly_is_left_out(count: int) -> None:
    session = replace(PLAIN, frames=count)
    moved = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    moved[count // 3] = rotation_matrix(session.axis @ np.roll(np.eye(3), 1, axis=0), 60 * ARCSEC)
    fit = fitted(drawn(session), moved=moved)
    assert np.flatnonzero(~fit.used).tolist() == [count // 3]
    assert sigmas_off(fit, session.axis) < 3.5


@pytest.mark.parametrize("arcmin", [1.0, 10.0, 60.0])
def test_after_a_knock_only_later_frames_count(arcmin: float) -> None:
    before = rotation_matrix(np.array([-1.0, 0.0, 0.0]), arcmin * ARCMIN)
    moved = np.stack([before] * 20 + [np.eye(3)] * 20)
    fit = fitted(drawn(PLAIN), moved=moved)
    assert fit.knocked_before == 20
    assert fit.used.tolist() == [False] * 20 + [True] * 20
    assert sigmas_off(fit, PLAIN.axis) < 3.5


def test_what_drifts_slowly_widens_sigma_and_knocks_nothing() -> None:
    restless = replace(PLAIN, lasting_arcsec=10.0, lasting_s=600.0, periodic_arcsec=10.0)
    quiet = fitted(drawn(PLAIN))
    for seed in range(3):
        fit = fitted(drawn(restless, seed))
        assert fit.knocked_before is None
        assert len(fit.camera_axes) == 1
        assert sigmas_off(fit, PLAIN.axis) < 3.5
        assert np.trace(fit.covariance) > 9 * np.trace(quiet.covariance)


def test_models_are_rigid_turns_about_the_axis_where_nothing_was_guided() -> None:
    fit = fitted(drawn(PLAIN))
    camera = np.einsum("nji,j->ni", fit.solution.models, fit.axis)
    assert camera == pytest.approx(np.broadcast_to(camera[0], camera.shape), abs=1e-7)
    assert np.median(fit.residuals) < 3 * np.median(fit.attitudes.noise)


def test_models_follow_the_guider_but_for_the_roll() -> None:
    fit = fitted(drawn(GUIDED))
    sight = fit.attitudes.boresights[0]
    apart = np.linalg.norm((fit.solution.models - fit.attitudes.matrices) @ sight, axis=-1)
    assert apart.max() < 30 * ARCSEC
    assert np.abs(fit.misfit[:, 0]).max() == 0


@pytest.mark.parametrize(("count", "is_tracked"), [(4, False), (5, True)])
def test_five_tracked_frames_tell_more_than_a_sweep_does(count: int, is_tracked: bool) -> None:
    """Below that nothing tells how long errors last."""
    fit = fitted(drawn(replace(PLAIN, hours=0.5, frames=count)), guided=False)
    assert (fit.tracked is not None) is is_tracked


def apart_by_chance(chance: float, freedom: float) -> float:
    """Distance, in standard errors of a difference, that chance exceeds so often: Hotelling's T squared over two
    components is 2 F of 2 and so many degrees of freedom (Hotelling 1931, from memory).
    """
    return float(np.sqrt(2 * f_distribution.isf(chance, 2, freedom)))


@pytest.mark.parametrize(("chance", "contradict"), [(8e-4, True), (1.2e-3, False)])
def test_place_and_rotation_contradict_each_other_beyond_one_chance_in_a_thousand(
    chance: float, contradict: bool
) -> None:
    """Twelve observations count at most, two of them for the axis: how long errors last is known from few."""
    one = np.ones(1)
    place, rotation = (
        Estimate(np.array([0.0, step]), np.eye(2) / 2, 100, one, 0 * one, one)
        for step in (0.0, apart_by_chance(chance, 10.0))
    )
    assert (contradiction_of(place, rotation, 100) is not None) is contradict


def parts_of(axis: np.ndarray, sigma: float) -> TrackedAxis:
    nothing: Any = None
    used, groups = np.ones(20, dtype=bool), np.zeros(20, dtype=int)
    return TrackedAxis(axis, np.eye(2) * sigma**2, nothing, used, groups, np.zeros(1, dtype=bool), nothing)


@pytest.mark.parametrize(
    ("chance", "size", "knocked"),
    [(0.008, 1e-9, True), (0.012, 1e-9, False), (0.8e-4, 0.0, True), (1.2e-4, 0.0, False)],
)
def test_a_step_is_a_knock_where_the_axis_is_hardly_the_same_after_it(
    chance: float, size: float, knocked: bool
) -> None:
    """One chance in a hundred; one in ten thousand where the mount only went to another field."""
    sigma, before = 1e-5, np.array([0.0, 0.7, 0.714])
    before /= np.linalg.norm(before)
    step = tangent_basis(before)[:, 0] * apart_by_chance(chance, 12.0) * np.sqrt(2) * sigma
    after = (before + step) / np.linalg.norm(before + step)
    found = joined(
        parts_of(before, 0.1 * sigma), parts_of(before, sigma), parts_of(after, sigma), Break(10, size)
    )
    assert (found.knocked_before == 10) is knocked


@pytest.mark.parametrize(("first", "asked"), [(4, False), (5, True), (15, True), (16, False)])
def test_fewer_than_five_frames_beside_a_step_give_no_axis_of_their_own(first: int, asked: bool) -> None:
    """Place and rotation of four leave two residuals beside axis and camera: too few to tell how long errors last."""
    sides = sides_of(np.ones(20, dtype=bool), first)
    assert (None if sides is None else [int(side.sum()) for side in sides]) == (
        [first, 20 - first] if asked else None
    )


def test_a_guider_that_lifts_the_declination_turns_the_field_by_its_cone() -> None:
    """A boresight 0.3 deg out of square (common practice, no source) turns the field by that share of the lift; where
    the lift goes like the field's turn by an axis displaced, it feigns one of that size.
    """
    pattern, other = np.array([1.0, -1.0, 1.0, -1.0]) / 2, np.array([1.0, 1.0, -1.0, -1.0]) / 2
    lift, one = 0.01, np.ones(4)
    places: Any = SimpleNamespace(misfit=lambda *_: np.stack([lift * pattern, 0 * pattern], axis=-1))
    series = Series(0 * one, np.stack([pattern, other], axis=-1), one, one, np.zeros(4, dtype=int))
    used, groups = np.ones(4, dtype=bool), np.zeros(4, dtype=int)
    found = out_of_square(series, places, groups, used, np.array([True]))
    assert found == pytest.approx(np.diag([(lift * np.radians(0.3)) ** 2, 0.0]), rel=1e-9, abs=1e-20)
    assert not out_of_square(series, places, groups, used, np.array([False])).any()


@pytest.mark.parametrize(("sigma_arcmin", "may_be"), [(2.5, False), (3.5, True)])
def test_a_field_that_drifts_slowly_may_be_guided_unless_its_rotation_tells_the_axis(
    sigma_arcmin: float, may_be: bool
) -> None:
    """To 3 arcmin it vouches for the place: an axis so near leaves as slow a drift (common practice, no source)."""
    assert is_coarse(np.diag([1.0, sigma_arcmin]) ** 2 * ARCMIN**2) is may_be
