"""Frames that followed the sky: the axis of mounts made by the exact motion, guided and not, whole and broken."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.axis.course import Course
from polarcheck.axis.fit import AxisFit, fit_axis
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
