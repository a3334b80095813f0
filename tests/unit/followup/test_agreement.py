"""Which frames can show the axis at all: a mount of known axis, moved as a whole, and another camera."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.alignment import Alignment
from polarcheck.axis import CameraAxis, carry_axis
from polarcheck.errors import GeometryError
from polarcheck.followup.agreement import agreeing_frames, widened
from polarcheck.frames import SENSOR_WEIGHTS, Sensor
from polarcheck.measurement.source import given_alignment
from polarcheck.simulate import Camera, camera_directions, mount_attitudes, sensor_points
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.vectors import Array
from tests.helpers import ARCSEC, DEG

CAMERA = Camera(width_px=1280, height_px=960, pixel_scale_arcsec=4.8)
LEVEL = np.array([1.0, 0.0, 0.0])  # about which the altitude knob turns, near enough


def before(altitude_error_deg: float = 0.2, noise_px: float = 0.2) -> Alignment:
    given = given_alignment((0.0, altitude_error_deg * 60), Sky.over(Site(47.3, 11.2, 900.0)))
    attitude = mount_attitudes(given.axis, True, np.array([20.0]) * DEG, 50 * DEG, 0.3)[0]
    inner = attitude.T @ given.axis
    camera = CameraAxis(
        template=camera_directions(sensor_points(CAMERA), CAMERA),
        weights=SENSOR_WEIGHTS,
        axis=inner,
        covariance=(np.eye(3) - np.outer(inner, inner)) * (3 * ARCSEC) ** 2,
        attitude=attitude,
        noise_px=noise_px,
        roll_ratio=1.0,
        degrees_of_freedom=8,
    )
    sensor = Sensor(CAMERA.width_px, CAMERA.height_px, CAMERA.pixel_scale_arcsec, mirrored=False)
    return replace(given, camera=camera, sensor=sensor)


def seen(alignment: Alignment, moved_deg: float = 0.0, wider: float = 0.0) -> Array:
    """What a frame shows after the mount went up, with a field that is wider by some share."""
    assert alignment.camera is not None
    camera = alignment.camera
    field = camera.template + wider * (camera.template - camera.template.mean(axis=0))
    field = field / np.linalg.norm(field, axis=-1, keepdims=True)
    return Rotation.from_rotvec(LEVEL * moved_deg * DEG).apply(field @ camera.attitude.T)[None]


def refusal(alignment: Alignment, observed: Array) -> str | None:
    frame = SimpleNamespace(name="a.fits", path=Path("a.fits"), utc=(2461359.0, 0.3))
    try:
        agreeing_frames(alignment, [frame], observed, [None])  # type: ignore[list-item]
    except GeometryError as error:
        return str(error)
    return None


@pytest.mark.parametrize(
    ("error_deg", "moved_deg", "possible"),
    [(0.2, 9.0, True), (0.2, 15.0, False), (13.0, 4.0, True), (13.0, 11.0, False)],
)
def test_knobs_and_tripods_move_an_axis_by_some_degrees(
    error_deg: float, moved_deg: float, possible: bool
) -> None:
    """By no more than 12 deg at once, and no mount is worked on 20 deg from the pole (common practice, no source)."""
    alignment = before(error_deg)
    said = refusal(alignment, seen(alignment, moved_deg))
    assert (said is None) is possible
    assert possible or "further than knobs reach" in str(said)


@pytest.mark.parametrize(
    ("noise_px", "misfit_px", "same"),
    [(0.2, 2.3, True), (0.2, 4.5, False), (1.0, 6.0, True), (1.0, 11.0, False)],
)
def test_other_camera_has_another_shape_on_the_sky(noise_px: float, misfit_px: float, same: bool) -> None:
    """By 3 px, which focus and temperature do not change (common practice, no source), or 8 times the noise."""
    alignment = before(noise_px=noise_px)
    assert alignment.camera is not None
    pixel = CAMERA.pixel_scale_arcsec * ARCSEC
    per_share = (
        float(carry_axis(alignment.camera, seen(alignment, 0.0, 1e-3), pixel).shape_misfit.max()) / 1e-3
    )
    said = refusal(alignment, seen(alignment, 0.0, misfit_px * pixel / per_share))
    assert (said is None) is same
    assert same or "another camera" in str(said)


@pytest.mark.parametrize(("sigmas", "told"), [(4.5, False), (9.0, True)])
def test_frame_that_parts_from_all_by_more_than_noise_is_told(sigmas: float, told: bool) -> None:
    """Of a thousand frames noise brings none beyond six sigmas; between these two stands that line and an arcsecond."""
    off = sigmas * 10 * ARCSEC
    found = SimpleNamespace(
        apart=np.array([0.0, off]), apart_sigma=np.full(2, 10 * ARCSEC), widened=lambda: None
    )
    frames = [SimpleNamespace(name="a.fits"), SimpleNamespace(name="b.fits")]
    notices = widened(found, frames)[1]  # type: ignore[arg-type]
    assert [notice.code for notice in notices] == (["frames-disagree"] if told else [])


def agreed(alignment: Alignment, attitudes: Array) -> tuple[int, ...]:
    """Numbers of the frames in use, of a camera with such attitudes."""
    assert alignment.camera is not None
    observed = np.einsum("nij,kj->nki", attitudes, alignment.camera.template)
    frames = [
        SimpleNamespace(name=f"{i}.fits", path=Path(f"{i}.fits"), utc=(2461359.0, 0.3 + i / 1440))
        for i in range(len(attitudes))
    ]
    found = agreeing_frames(alignment, frames, observed, [None] * len(frames))  # type: ignore[arg-type]
    assert [problem.name for problem in found.left] == [
        f"{i}.fits" for i in range(len(frames)) if i not in found.used
    ]
    return found.used


def at_angles(alignment: Alignment, degrees: list[float], declination_arcmin: float = 0.0) -> Array:
    """Attitudes at such axis angles, the camera tilted in declination since the result before."""
    assert alignment.camera is not None
    about = np.cross(alignment.camera.boresight, alignment.camera.axis)
    about /= np.linalg.norm(about)
    tilt = Rotation.from_rotvec(about * declination_arcmin * DEG / 60).as_matrix()
    turns = Rotation.from_rotvec(np.outer(np.array(degrees) * DEG, alignment.axis)).as_matrix()
    noise = Rotation.from_rotvec(np.random.default_rng(5).normal(size=(len(degrees), 3)) * ARCSEC / 3)
    return np.asarray(turns @ alignment.camera.attitude @ tilt @ noise.as_matrix())


@pytest.mark.parametrize("step_deg", [0.0, 0.2, 0.4])
@pytest.mark.parametrize("rolled_arcmin", [10.0, 60.0, 400.0])
def test_one_frame_of_several_at_one_place_that_is_rolled_is_left_out_by_name(
    rolled_arcmin: float, step_deg: float
) -> None:
    """The camera as a whole has not moved: the others stand where it did, and agree."""
    alignment = before(noise_px=0.03)
    assert alignment.camera is not None
    attitudes = at_angles(alignment, [step_deg * i for i in range(5)])
    roll = Rotation.from_rotvec(alignment.camera.boresight * rolled_arcmin * DEG / 60)
    attitudes[2] = attitudes[2] @ roll.as_matrix()
    assert agreed(alignment, attitudes) == (0, 1, 3, 4)


@pytest.mark.parametrize(
    "degrees", [[0.0, 20.0, 40.0], [0.0, 0.2, 40.0], [0.0, 0.2, 0.4, 40.0], [0.0, 0.2, 0.4, 8.0]]
)
def test_declination_that_moved_before_all_frames_is_no_wrong_frame(degrees: list[float]) -> None:
    """Those at one place agree by themselves, which says nothing: the one elsewhere shows that something moved."""
    alignment = before(noise_px=0.03)
    with pytest.raises(GeometryError, match="declination or camera moved"):
        agreed(alignment, at_angles(alignment, degrees, 10.0))
