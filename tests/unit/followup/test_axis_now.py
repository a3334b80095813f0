"""Following the axis: what is refused and why, what shows a slip, and what the night keeps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.alignment.state import Alignment
from polarcheck.errors import GeometryError, InputError
from polarcheck.followup.axis_now import Followed, follow_frames
from polarcheck.frames import FrameSet, read_frames
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure
from polarcheck.simulate import Camera, mount_attitudes, mount_axis, noisy_attitudes, write_frame
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from tests.commands import EVENING, NORTH, SOUTH
from tests.helpers import DEG, Array, separation_arcsec

CAMERA = Camera(width_px=600, height_px=450, pixel_scale_arcsec=20.0)
ERROR = (23.4, -11.8)
SIDEREAL = 2 * np.pi / 86164.0905  # [rad/s] Explanatory Supplement to the Astronomical Almanac, from memory
AIR = standard_atmosphere(900.0)


@dataclass
class Sweep:
    """A measured mount: the result, its last attitude and its axis."""

    before: Alignment
    attitude: Array
    axis: Array
    north: bool
    folder: Path

    def frame(
        self, name: str, moved: Rotation, seconds: float, slip_deg: float = 0.0, camera: Camera = CAMERA
    ) -> Path:
        """A frame after the whole mount was turned by `moved`, and the mount tracked on for `seconds`."""
        after = moved.apply(self.axis)
        turn = SIDEREAL * seconds + slip_deg * DEG
        own = Rotation.from_rotvec((-turn if self.north else turn) * after)
        return self.write(name, (own * moved).as_matrix() @ self.attitude, seconds, camera)

    def write(self, name: str, attitude: Array, seconds: float, camera: Camera = CAMERA) -> Path:
        path = self.folder / f"{name}.fits.fz"
        site = NORTH if self.north else SOUTH
        utc = (EVENING[0], EVENING[1] + (200.0 + seconds) / 86400)
        write_frame(path, attitude, utc=utc, sky=Sky(site, AIR), camera=camera)
        return path


def swept(folder: Path, north: bool) -> Sweep:
    site = NORTH if north else SOUTH
    axis = mount_axis(ERROR, Sky(site, AIR).refracted_pole)
    angles = np.array([5.0, 20.0, 35.0, 50.0, 60.0, 65.0]) * DEG
    attitudes = mount_attitudes(axis, north, angles, (45.0 if north else -45.0) * DEG, 0.3)
    noisy = noisy_attitudes(attitudes, CAMERA, 0.01, np.random.default_rng(5))
    for i, attitude in enumerate(noisy):
        path = folder / f"sweep_{i}.fits.fz"
        utc = (EVENING[0], EVENING[1] + 40.0 * i / 86400)
        write_frame(path, attitude, utc=utc, sky=Sky(site, AIR), camera=CAMERA)
    result = measure(
        sorted(folder.glob("sweep_*")),
        conditions=Conditions(pressure_hpa=AIR.pressure_hpa, temperature_c=AIR.temperature_c),
    )
    later = folder / "later"
    later.mkdir()
    return Sweep(result.alignment, attitudes[-1], axis, north, later)


@pytest.fixture(scope="module")
def north(tmp_path_factory: pytest.TempPathFactory) -> Sweep:
    return swept(tmp_path_factory.mktemp("north"), True)


@pytest.fixture(scope="module")
def south(tmp_path_factory: pytest.TempPathFactory) -> Sweep:
    return swept(tmp_path_factory.mktemp("south"), False)


def knobs(
    azimuth_arcmin: float, altitude_arcmin: float, north: bool = True, lean_deg: float = 1.5
) -> Rotation:
    """Altitude, then azimuth, about the pivots of a base that leans."""
    lean = Rotation.from_rotvec(lean_deg * DEG * np.array([0.6, 0.8, 0.0]))
    level = lean.apply([1.0 if north else -1.0, 0.0, 0.0])
    tilt = Rotation.from_rotvec(altitude_arcmin / 60 * DEG * level)
    return Rotation.from_rotvec(-azimuth_arcmin / 60 * DEG * lean.apply([0.0, 0.0, 1.0])) * tilt


STILL = Rotation.identity()


def follow(sweep: Sweep, *paths: Path, **said: object) -> Followed:
    return follow_frames(sweep.before, read_frames(list(paths)), **said)  # type: ignore[arg-type]


@pytest.mark.parametrize("hemisphere", ["north", "south"])
@pytest.mark.parametrize("slip_deg", [0.0, 1.0])
@pytest.mark.parametrize("tracking", ["on", "off", None])
def test_axis_does_not_depend_on_tracking_slip_or_base(
    request: pytest.FixtureRequest, hemisphere: str, slip_deg: float, tracking: str | None
) -> None:
    sweep: Sweep = request.getfixturevalue(hemisphere)
    moved = knobs(-20.0, 14.0, sweep.north)
    path = sweep.frame("one", moved, 300.0, slip_deg)
    found = follow(sweep, path, tracking=tracking)
    sigma = np.sqrt(np.trace(found.alignment.covariance)) / DEG * 3600  # type: ignore[arg-type]
    assert separation_arcsec(found.alignment.axis, moved.apply(sweep.axis)) < 4 * sigma < 60
    assert found.moved_azimuth_arcmin == pytest.approx(-20.0, abs=3.0)
    assert found.moved_altitude_arcmin == pytest.approx(14.0, abs=3.0)


def test_error_of_the_new_axis_is_the_old_error_plus_the_move(north: Sweep) -> None:
    # a level base: the azimuth knob turns about the vertical, the altitude knob about the level line through east
    found = follow(north, north.frame("level", knobs(0.0, 10.0, lean_deg=0.0), 100.0))
    assert found.error.altitude_arcmin == pytest.approx(
        ERROR[1] + 10.0, abs=4 * found.error.altitude_sigma_arcmin
    )
    found = follow(north, north.frame("level", knobs(-20.0, 0.0, lean_deg=0.0), 100.0))
    assert found.error.azimuth_arcmin == pytest.approx(
        ERROR[0] - 20.0, abs=4 * found.error.azimuth_sigma_arcmin
    )
    assert found.error.altitude_arcmin == pytest.approx(ERROR[1], abs=4 * found.error.altitude_sigma_arcmin)


def test_slip_is_told_with_its_size_and_sign(north: Sweep) -> None:
    for slip in (1.0, -1.0):  # westward positive
        found = follow(north, north.frame("slip", knobs(-5.0, 5.0), 120.0, slip), tracking="on")
        assert [notice.code for notice in found.notices] == ["slip"]
        assert found.slip_arcmin == pytest.approx(60 * slip, abs=2.0)


def test_clamped_mount_shows_no_slip(north: Sweep) -> None:
    found = follow(north, north.frame("clamped", knobs(-20.0, 14.0), 120.0), tracking="on")
    assert found.notices == ()
    assert found.slip_arcmin == pytest.approx(0.0, abs=3.0)


@pytest.mark.parametrize(("slip_arcmin", "is_told"), [(2.0, False), (4.0, True)])
def test_slip_is_told_beyond_what_the_start_of_tracking_does(
    north: Sweep, slip_arcmin: float, is_told: bool
) -> None:
    """Some ten seconds until a mount tracks after its knobs were touched are 2.5 arcmin; common practice, no source."""
    found = follow(north, north.frame("floor", STILL, 120.0, slip_arcmin / 60), tracking="on")
    assert [notice.code for notice in found.notices] == ["slip"] * is_told


@pytest.mark.parametrize(("slip_arcmin", "is_told"), [(12.0, False), (20.0, True)])
def test_slip_of_a_long_move_may_be_the_base_out_of_level(
    north: Sweep, slip_arcmin: float, is_told: bool
) -> None:
    """A base 2.5 deg out of level turns 4.4 % of 200 arcmin, 8.7, about its level line.

    Across the axis' foot that is 8.7 / cos 47 deg or 12.8 arcmin about the axis; with the floor of 3, 15.8.
    """
    moved = knobs(-200.0, 0.0, lean_deg=0.0)
    found = follow(north, north.frame("long", moved, 120.0, slip_arcmin / 60), tracking="on")
    assert [notice.code for notice in found.notices] == ["slip"] * is_told


def test_mount_that_tracked_although_said_to_stand_shows(north: Sweep) -> None:
    found = follow(north, north.frame("tracked", knobs(-5.0, 5.0), 600.0), tracking="off")
    # 600 s at 15.041 arcsec/s are 150.4 arcmin
    assert found.slip_arcmin == pytest.approx(150.4, abs=2.0)
    assert [notice.code for notice in found.notices] == ["slip"]


def test_no_slip_is_judged_where_the_stand_before_is_not_known(north: Sweep) -> None:
    path = north.frame("unknown", knobs(-5.0, 5.0), 120.0, 1.0)
    assert follow(north, path).slip_arcmin is None
    broken = replace(north, before=replace(north.before, is_continuous=False))
    found = follow(broken, path, tracking="on")
    assert (found.slip_arcmin, found.notices) == (None, ())


@pytest.mark.parametrize(
    "camera",
    [
        replace(CAMERA, pixel_scale_arcsec=20.5),
        replace(CAMERA, width_px=580),
        replace(CAMERA, mirrored=True),
    ],
    ids=["scale", "size", "mirror"],
)
def test_other_camera_is_refused(north: Sweep, camera: Camera) -> None:
    path = north.frame("other", STILL, 100.0, camera=camera)
    with pytest.raises(GeometryError, match=r"other\.fits\.fz: is of another camera"):
        follow(north, path)


@pytest.mark.parametrize(
    ("turn", "said"),
    [
        (Rotation.from_rotvec([0.0, 0.0, 1.2]), "solved wrongly"),
        (Rotation.from_rotvec([0.9, 0.4, 0.3]), "solved wrongly"),
        (Rotation.from_rotvec([2.6, 0.0, 0.0]), "below the horizon"),
    ],
)
def test_frame_solved_elsewhere_is_refused(north: Sweep, turn: Rotation, said: str) -> None:
    with pytest.raises(GeometryError, match=said):
        follow(north, north.write("wrong", turn.as_matrix() @ north.attitude, 100.0))


def test_camera_that_moved_or_declination_that_slipped_is_refused_where_turns_were_told(north: Sweep) -> None:
    # 3 deg about the camera's x: with knobs that should have moved the axis by 20 arcmin
    nodded = north.attitude @ Rotation.from_euler("x", 3.0, degrees=True).as_matrix()
    with pytest.raises(GeometryError, match=r"what was turned should give -20\.0 and \+0\.0"):
        follow(north, north.write("nodded", nodded, 100.0), expected_arcmin=(-20.0, 0.0))


def test_move_far_from_what_was_turned_is_refused_and_a_near_one_is_not(north: Sweep) -> None:
    path = north.frame("far", knobs(-40.0, 0.0), 100.0)
    with pytest.raises(GeometryError, match=r"far\.fits\.fz: the axis moved by -40"):
        follow(north, path, expected_arcmin=(40.0, 0.0))
    assert follow(north, path, expected_arcmin=(-50.0, 0.0)).frames


def test_frame_before_the_result_is_refused(north: Sweep) -> None:
    with pytest.raises(InputError, match=r"early\.fits\.fz: was taken before the result"):
        follow(north, north.frame("early", STILL, -100.0))


def test_last_frame_of_the_result_is_no_frame_to_follow(north: Sweep) -> None:
    with pytest.raises(
        InputError,
        match=r"turn the knobs, then give a frame taken after sweep_5.fits.fz:\n.*is the frame that",
    ):
        follow(north, north.folder.parent / "sweep_5.fits.fz")


def test_frames_that_disagree_are_refused(north: Sweep) -> None:
    paths = [north.frame("a", knobs(-20, 0), 100.0), north.frame("b", knobs(-20, 5), 160.0)]
    with pytest.raises(GeometryError, match=r"its axis lies \d\.\d\d arcmin from that of the other frames"):
        follow(north, *paths)


def test_one_frame_of_three_that_disagrees_is_left_out_and_named(north: Sweep) -> None:
    moved = knobs(-20, 5)
    paths = [north.frame("good_1", moved, 100.0), north.frame("bumped", knobs(-20, 9), 160.0)]
    paths += [north.frame("good_2", moved, 220.0)]
    found = follow(north, *paths)
    assert [frame.name for frame in found.frames] == ["good_1.fits.fz", "good_2.fits.fz"]
    assert [p.name for p in found.problems] == ["bumped.fits.fz"]
    assert "does not agree with the other frames" in found.problems[0].reason
    assert separation_arcsec(found.alignment.axis, moved.apply(north.axis)) < 60


def test_frame_solved_elsewhere_among_others_is_left_out(north: Sweep) -> None:
    wrong = Rotation.from_rotvec([0.9, 0.4, 0.3]).as_matrix() @ north.attitude
    paths = [north.frame("right", knobs(-20, 5), 100.0), north.write("elsewhere", wrong, 160.0)]
    found = follow(north, *paths)
    assert [frame.name for frame in found.frames] == ["right.fits.fz"]
    assert "further than knobs reach" in found.problems[0].reason


def test_folder_of_the_whole_night_gives_the_frames_after_the_result(north: Sweep) -> None:
    sweep = sorted(north.folder.parent.glob("sweep_*"))
    found = follow(north, *sweep, north.frame("since", knobs(-20, 5), 100.0))
    assert [frame.name for frame in found.frames] == ["since.fits.fz"]
    assert [p.name for p in found.early] == [path.name for path in sweep]
    assert found.problems == ()


def test_frames_that_agree_share_one_axis(north: Sweep) -> None:
    moved = knobs(-20, 5)
    paths = [north.frame(name, moved, 100.0 + 60 * i) for i, name in enumerate("abc")]
    found = follow(north, *paths)
    assert [frame.name for frame in found.frames] == ["a.fits.fz", "b.fits.fz", "c.fits.fz"]
    one = follow(north, paths[0])
    trace = [np.trace(f.alignment.covariance) for f in (found, one)]  # type: ignore[arg-type]
    assert trace[0] < trace[1]


def test_result_without_a_camera_and_no_frames_are_refused(north: Sweep) -> None:
    with pytest.raises(InputError, match=r"holds no camera"):
        follow_frames(replace(north.before, camera=None), FrameSet((), ()))
    with pytest.raises(InputError, match=r"no frame to follow"):
        follow_frames(north.before, FrameSet((), ()))


def test_history_grows_and_carries_what_was_turned(north: Sweep) -> None:
    first, second = knobs(-20.0, 0.0), knobs(0.0, 12.0)
    one = follow(north, north.frame("one", first, 100.0), turned=(-0.4, 0.0))
    path = north.frame("two", second * first, 400.0)
    two = follow_frames(one.alignment, read_frames([path]), turned=(0.0, 0.25))
    steps = two.alignment.steps
    assert [step.turned for step in steps] == [None, (-0.4, 0.0), (0.0, 0.25)]
    assert [step.is_fresh for step in steps] == [True, False, False]
    assert [b.utc > a.utc for a, b in pairwise(steps)] == [True, True]
    assert two.alignment.last_frame == "two.fits.fz"
    after = (second * first).apply(north.axis)
    assert separation_arcsec(two.alignment.axis, after) < 60
    assert two.moved_altitude_arcmin == pytest.approx(12.0, abs=2.0)


def at_positions(sweep: Sweep, moved: Rotation, name: str, bump: Rotation = STILL) -> list[Path]:
    """Three frames over 60 deg after a turn, the camera bumped against the mount meanwhile."""
    paths = []
    for i, west in enumerate((0.0, -30.0, -60.0)):
        seconds = 200.0 + 60 * i
        turn = (west * DEG + SIDEREAL * seconds) * (-1 if sweep.north else 1)
        own = Rotation.from_rotvec(turn * moved.apply(sweep.axis))
        attitude = (own * moved).as_matrix() @ sweep.attitude @ bump.as_matrix()
        paths.append(sweep.write(f"{name}_{i}", attitude, seconds))
    return paths


def test_frames_at_three_positions_give_the_axis_far_better_than_one(north: Sweep) -> None:
    moved = knobs(-20.0, 14.0)
    paths = at_positions(north, moved, "arc")
    three, one = follow(north, *paths), follow(north, paths[0])
    assert separation_arcsec(three.alignment.axis, moved.apply(north.axis)) < 3
    traces = [np.trace(found.alignment.covariance) for found in (three, one)]  # type: ignore[arg-type]
    assert traces[0] < traces[1] / 25
    assert (three.sees_camera, one.sees_camera) == (True, False)


@pytest.mark.parametrize(
    "bump",
    [Rotation.from_euler("x", 3 / 60, degrees=True), Rotation.from_euler("z", 5.0, degrees=True)],
    ids=["declination by 3 arcmin", "camera turned by 5 deg"],
)
def test_declination_or_camera_that_moved_shows_at_several_positions(north: Sweep, bump: Rotation) -> None:
    with pytest.raises(GeometryError, match="declination or camera moved since"):
        follow(north, *at_positions(north, knobs(-20.0, 14.0), "bumped", bump))


def test_frame_of_another_night_is_refused(north: Sweep) -> None:
    with pytest.raises(GeometryError, match="on another night"):
        follow(north, north.frame("next_night", STILL, 86000.0))


def test_move_is_no_surprise_where_the_result_before_was_not_sure(north: Sweep) -> None:
    """A result off by 10 arcmin with a sigma of 3: the next frame, with no knob turned, shows a move that was none."""
    path = north.frame("unsure", STILL, 100.0)
    off = Rotation.from_rotvec([0.0, 0.0, 10 / 60 * DEG]).apply(north.before.axis)
    unsure = replace(north.before, axis=off, covariance=np.eye(2) * (3 / 60 * DEG) ** 2)
    assert follow_frames(unsure, read_frames([path]), expected_arcmin=(0.0, 0.0)).frames
    sure = replace(unsure, covariance=north.before.covariance)
    with pytest.raises(GeometryError, match="what was turned should give"):
        follow_frames(sure, read_frames([path]), expected_arcmin=(0.0, 0.0))
