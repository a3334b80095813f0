"""Where the line is drawn between a frame that shows the axis and one that does not; a rigid mount by scipy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.alignment import Alignment, Systematic
from polarcheck.axis import CameraAxis, carry_axis
from polarcheck.errors import GeometryError
from polarcheck.followup import agreement
from polarcheck.followup.agreement import Agreed, agreeing_frames
from polarcheck.frames import Frame, Sensor
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from tests.helpers import ARCSEC, DEG, Array, enu
from tests.rigid_mount import HEIGHT_DEG, PIXEL_ARCSEC, WEIGHTS, WIDTH_DEG, camera_at, seen_by, sensor

SKY = Sky.over(Site(47.3, 11.2), pressure_hpa=0.0)
POLE = enu(0.0, 47.3 * DEG)
LEVER_DEG = 40.0
# stars spread evenly over a rectangle stand sqrt((w^2 + h^2) / 12) from its centre, root mean square
SPREAD = np.hypot(WIDTH_DEG, HEIGHT_DEG) * DEG / np.sqrt(12)


def standing(
    axis: Array = POLE,
    *,
    noise_px: float = 0.1,
    place_arcsec: float = 0.1,
    allowance_arcsec: float | None = None,
) -> Alignment:
    """A mount whose axis was found, with its place in the camera known so well."""
    camera = camera_at(axis, LEVER_DEG)
    inner = camera.inv().apply(axis)
    across = np.eye(3) - np.outer(inner, inner)
    return Alignment(
        SKY,
        "true",
        axis,
        np.eye(2) * ARCSEC**2,
        camera=CameraAxis(
            template=sensor(),
            weights=WEIGHTS,
            axis=inner,
            covariance=across * (place_arcsec * ARCSEC) ** 2,
            attitude=camera.as_matrix(),
            noise_px=noise_px,
            roll_ratio=1.0,
            degrees_of_freedom=12,
        ),
        sensor=Sensor(1200, 900, PIXEL_ARCSEC, False),
        systematic=None if allowance_arcsec is None else Systematic(allowance_arcsec, "rig file", np.eye(2)),
    )


def frames(count: int) -> list[Frame]:
    return [
        Frame(
            path=Path(f"frame_{i}.fits"),
            name=f"frame_{i}.fits",
            folder="",
            width_px=1200,
            height_px=900,
            sky=np.zeros((9, 3)),
            utc=(2461359.5, 0.3 + i / 1440),
            exposure_s=10.0,
            pixel_scale_arcsec=PIXEL_ARCSEC,
            mirrored=False,
            site=None,
            solution_file=None,
            notices=(),
        )
        for i in range(count)
    ]


def agreed(before: Alignment, attitudes: Rotation, points: Array | None = None) -> Agreed:
    observed = seen_by(attitudes, points)
    return agreeing_frames(before, frames(len(observed)), observed, np.ones(len(observed), bool))


def at(before: Alignment, turns_deg: list[float]) -> Rotation:
    """Attitudes after turns about an axis that stays."""
    assert before.camera is not None
    return Rotation.from_rotvec(np.multiply.outer(np.multiply(turns_deg, DEG), before.axis)) * (
        Rotation.from_matrix(before.camera.attitude)
    )


def raised(before: Alignment, angle_deg: float) -> Rotation:
    """One frame after the altitude knob raised the axis."""
    return Rotation.from_rotvec([[angle_deg * DEG, 0.0, 0.0]]) * at(before, [0.0])


def rolled(attitudes: Rotation, last_arcsec: float) -> Rotation:
    """The last frame's solution off in roll."""
    rolls = np.zeros((len(attitudes), 3))
    rolls[-1, 2] = last_arcsec * ARCSEC
    return attitudes * Rotation.from_rotvec(rolls)


def bumped(before: Alignment, angle_arcsec: float) -> Rotation:
    """Three frames over 60 deg, after declination slipped by an angle."""
    assert before.camera is not None
    across = np.cross(before.camera.boresight, before.camera.axis)
    push = Rotation.from_rotvec(across / np.linalg.norm(across) * angle_arcsec * ARCSEC)
    return at(before, [0.0, 30.0, 60.0]) * push


def test_knobs_reach_eleven_degrees_and_not_thirteen() -> None:
    """A latitude scale set for another country is within reach; common practice, no source."""
    agreed(standing(), raised(standing(), 11.0))
    with pytest.raises(GeometryError, match="further than knobs reach"):
        agreed(standing(), raised(standing(), 13.0))


def test_an_axis_twenty_degrees_from_the_pole_is_none() -> None:
    before = standing(enu(0.0, (47.3 + 10.0) * DEG))
    agreed(before, raised(before, 9.0))
    with pytest.raises(GeometryError, match=r"21\.0 deg from the pole, further than knobs reach"):
        agreed(before, raised(before, 11.0))


def stretched(misfit_px: float) -> Array:
    """The sensor's points, wider and less high, by so many pixels root mean square: no turn does that."""
    points = sensor()
    pulled = points * [1.0, -1.0, 0.0]
    size = np.sqrt(np.sum(pulled**2, axis=-1) @ WEIGHTS)
    wide = points + pulled * misfit_px * PIXEL_ARCSEC * ARCSEC / size
    return np.asarray(wide / np.linalg.norm(wide, axis=-1, keepdims=True))


@pytest.mark.parametrize(
    ("noise_px", "fits_px", "misfits_px"),
    [(0.1, 2.5, 3.5), (1.0, 7.0, 9.0)],
    ids=["sharp stars", "poor stars"],
)
def test_solutions_distortion_may_differ_by_pixels_and_another_camera_by_more(
    noise_px: float, fits_px: float, misfits_px: float
) -> None:
    """Three pixels at least, and eight times the noise of a frame."""
    before = standing(noise_px=noise_px)
    agreed(before, at(before, [0.0]), stretched(fits_px))
    with pytest.raises(GeometryError, match="does not fit the camera's"):
        agreed(before, at(before, [0.0]), stretched(misfits_px))


@pytest.mark.parametrize("roll_noise_arcsec", [2.0, 40.0], ids=["by the tail of real rolls", "by the noise"])
def test_frames_apart_by_roll_agree_up_to_what_real_solutions_do(roll_noise_arcsec: float) -> None:
    """Sixty seconds of arc, as sample_frames/README.md has real ones up to 53; six times the noise where that is more.

    Two frames whose rolls differ lie half of that from their mean.
    """
    before = standing(noise_px=roll_noise_arcsec * SPREAD / PIXEL_ARCSEC)
    limit = max(60.0, 6 * roll_noise_arcsec)
    both = at(before, [0.0, 0.0])
    assert len(agreed(before, rolled(both, 2 * 0.9 * limit)).used) == 2
    with pytest.raises(GeometryError, match="from that of the other frames"):
        agreed(before, rolled(both, 2 * 1.15 * limit))


@pytest.mark.parametrize(("count", "is_each_tried"), [(20, True), (30, False)])
def test_each_frame_is_tried_as_the_odd_one_where_they_are_few(
    monkeypatch: pytest.MonkeyPatch, count: int, is_each_tried: bool
) -> None:
    """Trying each costs the square of their number; among many the farthest one is found without."""
    rests = []

    def counted(known: CameraAxis, observed: Array, pixel: float) -> object:
        rests.append(len(observed) == count - 1)
        return carry_axis(known, observed, pixel)

    monkeypatch.setattr(agreement, "carry_axis", counted)
    before = standing(noise_px=0.005)
    found = agreed(before, rolled(at(before, list(np.linspace(60.0, 0.0, count))), 600.0))
    assert found.used == tuple(range(count - 1))
    assert sum(rests) == (count + 1 if is_each_tried else 1)


def test_camera_that_stands_elsewhere_is_told_beyond_six_sigmas_of_its_place() -> None:
    before = standing(noise_px=0.002, place_arcsec=20.0)
    assert len(agreed(before, bumped(before, 5 * 20.0)).used) == 3
    with pytest.raises(GeometryError, match="declination or camera moved"):
        agreed(before, bumped(before, 7 * 20.0))


@pytest.mark.parametrize(("allowance_arcsec", "sags_arcsec"), [(None, 20.0), (10.0, 40.0)])
def test_what_sag_explains_is_no_camera_that_moved(
    allowance_arcsec: float | None, sags_arcsec: float
) -> None:
    """Four times the allowance of the rig file, or of 5 arcsec where that says nothing."""
    before = standing(noise_px=0.001, place_arcsec=0.2, allowance_arcsec=allowance_arcsec)
    assert len(agreed(before, bumped(before, 0.8 * sags_arcsec)).used) == 3
    with pytest.raises(GeometryError, match="declination or camera moved"):
        agreed(before, bumped(before, 1.2 * sags_arcsec))


def test_frames_tell_where_the_axis_is_in_the_camera_whatever_was_known_before() -> None:
    """A bump of half a degree, told although the place before was known to a thousandth of that."""
    before = standing(noise_px=0.02, place_arcsec=2.0)
    with pytest.raises(GeometryError, match="declination or camera moved"):
        agreed(before, bumped(before, 1800.0))
