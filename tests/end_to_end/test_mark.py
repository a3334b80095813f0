"""The mark on the sensor through the commands: knobs turned as told bring the star to its pixel."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from scipy.spatial.transform import Rotation

from polarcheck.simulate import Camera, mount_attitudes, mount_axis, noisy_attitudes, write_frame
from polarcheck.site import Site
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from tests.commands import SAMPLES, answered, refused, run, wrong
from tests.helpers import DEG, enu, icrs, utc_date

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
EVENING = utc_date(2026, 11, 14, 21, 10)[0]
SIDEREAL = 7.2921150e-5  # [rad/s], IERS Conventions 2010, table 1.1


def altitude_knob(axis: Any, move_arcmin: float) -> Rotation:
    """About the level line to the right of the axis, which raises the axis."""
    right = np.cross(axis, [0.0, 0.0, 1.0])
    return Rotation.from_rotvec(right / np.linalg.norm(right) * move_arcmin / 60 * DEG)


def azimuth_knob(move_arcmin: float) -> Rotation:
    """About the vertical; growing azimuth is clockwise from above, so left-handed."""
    return Rotation.from_rotvec([0.0, 0.0, -move_arcmin / 60 * DEG])


def brightness_at(path: Path, place: list[float]) -> tuple[float, float]:
    """How far the light near a pixel is from it, and how bright it is, by plain moments."""
    image = np.asarray(fits.getdata(path, 1), dtype=float)
    light = np.clip(image - np.median(image) - 8, 0, None)
    x, y = (round(value) for value in place)
    box = light[y - 8 : y + 9, x - 8 : x + 9]
    rows, columns = np.mgrid[y - 8 : y + 9, x - 8 : x + 9]
    assert box.sum() > 0, "no star there"
    centre = ((box * columns).sum() / box.sum(), (box * rows).sum() / box.sum())
    return float(np.hypot(centre[0] - place[0], centre[1] - place[1])), float(box.sum())


class Mount:
    """A level mount with a camera, turned by hand."""

    def __init__(self, site: Site, error: tuple[float, float], mirrored: bool) -> None:
        self.site, self.air = site, standard_atmosphere(site.height_m)
        self.camera = Camera(width_px=800, height_px=600, pixel_scale_arcsec=8.0, mirrored=mirrored)
        self.axis = mount_axis(error, Sky(site, self.air).refracted_pole)
        self.attitude = np.eye(3)

    def sweep(self, folder: Path) -> list[Path]:
        rng = np.random.default_rng(3)
        declination = 35.0 if self.site.is_north else -35.0
        angles = np.array([5.0, 25.0, 45.0, 65.0]) * DEG
        attitudes = mount_attitudes(self.axis, self.site.is_north, angles, declination * DEG, 0.3)
        self.attitude = attitudes[-1]
        seen = noisy_attitudes(attitudes, self.camera, 0.03, rng)
        return [self.shoot(folder / f"sweep_{i}.fits.fz", 60.0 * i, seen[i]) for i in range(4)]

    def shoot(self, path: Path, seconds: float, attitude: Any = None) -> Path:
        utc = (float(EVENING[0]), float(EVENING[1] + seconds / 86400))
        seen = self.attitude if attitude is None else attitude
        write_frame(path, seen, utc=utc, sky=Sky(self.site, self.air), camera=self.camera, seed=1)
        return path

    def turn(self, rotation: Rotation) -> None:
        self.attitude, self.axis = rotation.as_matrix() @ self.attitude, rotation.apply(self.axis)

    def track(self, seconds: float) -> None:
        westward = -1.0 if self.site.is_north else 1.0
        self.turn(Rotation.from_rotvec(westward * SIDEREAL * seconds * self.axis))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(
    ("site", "error"), [(NORTH, (23.4, -11.8)), (NORTH, (-15.0, 25.0)), (SOUTH, (-31.2, 17.6))]
)
def test_knobs_turned_as_told_bring_the_star_to_its_pixel(
    site: Site, error: tuple[float, float], mirrored: bool, tmp_path: Path
) -> None:
    mount = Mount(site, error, mirrored)
    kept = tmp_path / "kept.json"
    answered("measure", *mount.sweep(tmp_path), "--out", kept)
    answer, _ = answered("correct", kept)
    target = answer["star_target"]
    assert target["file"] == "sweep_3.fits.fz"
    assert target["reason"] is None
    start, light = brightness_at(tmp_path / "sweep_3.fits.fz", target["from_px"])
    assert start < 0.5
    assert np.hypot(*np.subtract(target["to_px"], target["from_px"])) > 20
    moves = {move["knob"]: move["move_arcmin"] for move in answer["moves"]}
    assert [move["knob"] for move in answer["moves"]] == ["altitude", "azimuth"]

    mount.turn(altitude_knob(mount.axis, moves["altitude"]))
    off, seen = brightness_at(mount.shoot(tmp_path / "first.fits.fz", 180.0), target["after_first_px"])
    assert off < 1.0
    assert seen == pytest.approx(light, rel=0.1)  # it is that star

    mount.turn(azimuth_knob(moves["azimuth"]))
    off, seen = brightness_at(mount.shoot(tmp_path / "both.fits.fz", 180.0), target["to_px"])
    assert off < 1.0
    assert seen == pytest.approx(light, rel=0.1)

    mount.track(60.0)
    off, _ = brightness_at(mount.shoot(tmp_path / "later.fits.fz", 240.0), target["to_px"])
    assert off < 1.0  # with tracking on it stays there


@pytest.mark.parametrize("folder", ["north_sweep", "south_sweep"])
def test_mark_on_a_sample_frame_agrees_with_its_solution_and_the_true_error(folder: str) -> None:
    """By astropy's own reading of the solution, distortion included, and the frames' truth."""
    answer, _ = answered("correct", SAMPLES / folder)
    target = answer["star_target"]
    truth = json.loads((SAMPLES / folder / "truth.json").read_text(encoding="utf-8"))
    place, error = truth["site"], truth["error"]
    site = Site(place["latitude_deg"], place["longitude_deg"], place["height_m"])
    air = standard_atmosphere(site.height_m)
    axis = enu(truth["axis"]["azimuth_deg"] * DEG, truth["axis"]["altitude_deg"] * DEG)
    header = fits.getheader(SAMPLES / folder / target["file"], 1)
    wcs = WCS(header, fix=False)
    start = np.datetime64(header["DATE-OBS"]) + np.timedelta64(round(header["EXPTIME"] * 500), "ms")
    midnight = np.datetime64("2026-11-14T00:00:00")
    utc = utc_date(2026, 11, 14) + [[0.0, (start - midnight) / np.timedelta64(1, "D")]]
    star = icrs(*wcs.all_pix2world([target["from_px"]], 0)[0] * DEG)
    seen = Sky(site, air).observed(star[None, None], utc)[0, 0]
    first = altitude_knob(axis, -error["altitude_arcmin"])
    both = azimuth_knob(-error["azimuth_arcmin"]) * first
    for turned, key in ((first, "after_first_px"), (both, "to_px")):
        before = turned.inv().apply(seen)
        x, y, z = Sky(site, air).icrs(before[None, None], utc)[0, 0]
        radec = np.degrees([[np.arctan2(y, x) % (2 * np.pi), np.arcsin(z)]])
        assert np.hypot(*(wcs.all_world2pix(radec, 0)[0] - target[key])) < 1.0


def test_followed_frame_bears_the_next_mark(tmp_path: Path) -> None:
    first, second = tmp_path / "first.json", tmp_path / "second.json"
    answered("measure", SAMPLES / "north_sweep", "--out", first)
    answered("follow", first, SAMPLES / "after_correction" / "after_correction_06.fits.fz", "--out", second)
    target = answered("correct", second)[0]["star_target"]
    assert target["file"] == "after_correction_06.fits.fz"
    # truth: 1.6 arcmin in azimuth and 0.9 in altitude are left, 20 px at most
    assert 3 < np.hypot(*np.subtract(target["to_px"], target["from_px"])) < 30


def test_text_tells_the_mark_and_picture_is_drawn(tmp_path: Path) -> None:
    result = run("correct", SAMPLES / "north_sweep", "--mark", tmp_path / "mark.png")
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert "Mark on the sensor: watch the star at x" in result.stdout
    assert "north_sweep_08.fits.fz" in result.stdout
    assert (tmp_path / "mark.png").read_bytes().startswith(b"\x89PNG")


def test_simulated_frames_have_a_mark(tmp_path: Path) -> None:
    run(
        "simulate",
        tmp_path,
        "--error",
        "23.4,-11.8",
        "--site",
        "47.3,11.2,900",
        "--at",
        "2026-11-14T21:10:00",
    )
    target = answered("correct", tmp_path)[0]["star_target"]
    assert target["to_px"] is not None


def test_error_alone_has_no_mark_and_says_why(tmp_path: Path) -> None:
    given = ("correct", "--error", "20,10", "--site", "47.3,11.2")
    answer, _ = answered(*given)
    assert answer["star_target"] is None
    assert "no frame" in answer["star_target_reason"]
    result = run(*given, "--mark", tmp_path / "mark.svg")
    assert result.exit_code == 0
    assert "No mark on the sensor" in result.stdout
    assert "mark.svg is not drawn" in result.stderr
    assert not (tmp_path / "mark.svg").exists()


def test_error_beyond_the_sensor_says_how_far_the_star_can_be_watched(tmp_path: Path) -> None:
    mount = Mount(NORTH, (170.0, 90.0), mirrored=False)
    mount.camera = Camera(width_px=400, height_px=300, pixel_scale_arcsec=8.0)
    answer, _ = answered("correct", *mount.sweep(tmp_path))
    target = answer["star_target"]
    assert target["to_px"] is None
    assert "take a frame" in target["reason"]
    assert 0 < sum(target["part_on_sensor"]) < 2
    assert all(0 <= value < size for value, size in zip(target["part_px"], (400, 300), strict=True))


def test_frame_moved_away_leaves_the_moves_and_says_so(tmp_path: Path) -> None:
    frames = tmp_path / "frames"
    shutil.copytree(SAMPLES / "north_sweep", frames)
    kept = tmp_path / "kept.json"
    answered("measure", frames, "--out", kept)
    shutil.rmtree(frames)
    answer, _ = answered("correct", kept)
    assert answer["star_target"] is None
    assert "no longer where it was" in answer["star_target_reason"]
    assert len(answer["moves"]) == 2


def test_picture_needs_a_place_and_an_ending(tmp_path: Path) -> None:
    assert "must end in" in wrong("correct", SAMPLES / "north_sweep", "--mark", tmp_path / "mark.fits")
    assert "no folder" in refused("correct", SAMPLES / "north_sweep", "--mark", tmp_path / "no" / "mark.png")
