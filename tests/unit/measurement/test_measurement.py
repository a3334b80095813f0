"""The whole measurement against the simulated truth, astropy, and refits by brute force."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.errors import GeometryError, InputError
from polarcheck.frames import FrameSet
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure, measure_frames
from polarcheck.measurement.result import Measurement
from polarcheck.site import Site
from tests.benchmarks.mounts import NORTH, SOUTH, Scene, Sweep, frames_of
from tests.commands import simulated
from tests.helpers import DEG, separation_arcsec, utc_date

ANGLES = (-40.0, -15.0, 10.0, 35.0)
BOTH = pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])


def scene_at(site: Site, noise_px: float = 0.0, angles: tuple[float, ...] = ANGLES) -> Scene:
    declination = 50.0 if site.is_north else -50.0
    return Scene([Sweep(angles, declination)], site, (31.0, -17.0), noise_px, stars=0)


def frames_at(site: Site, noise_px: float = 0.0) -> FrameSet:
    return frames_of(scene_at(site, noise_px), np.random.default_rng(4))


def moved(frames: FrameSet, east_deg: float = 0.0, north_deg: float = 0.0) -> Measurement:
    site = frames.frames[0].site
    assert site is not None
    there = replace(
        site, latitude_deg=site.latitude_deg + north_deg, longitude_deg=site.longitude_deg + east_deg
    )
    return measure_frames(frames, site=there)


def offset(result: Measurement) -> np.ndarray:
    return np.array([result.error.azimuth_on_sky_arcmin, result.error.altitude_arcmin])


@BOTH
def test_axis_and_error_are_those_of_the_mount(site: Site) -> None:
    # 1e-4': no noise, the real sky there and back
    result = measure_frames(frames_at(site))
    assert result.error.azimuth_arcmin == pytest.approx(31.0, abs=1e-4)
    assert result.error.altitude_arcmin == pytest.approx(-17.0, abs=1e-4)
    pole = scene_at(site).pole
    assert result.axis_azimuth_deg == pytest.approx(pole.azimuth_deg + 31 / 60, abs=1e-6)
    assert result.axis_altitude_deg == pytest.approx(pole.altitude_deg - 17 / 60, abs=1e-6)


def test_refraction_is_switched_off_by_a_pressure_of_zero() -> None:
    # without air the frames' own refraction stays in the fit: the axis moves by arcminutes' fractions, the poles agree
    result = measure_frames(frames_at(NORTH), conditions=Conditions(pressure_hpa=0.0))
    assert result.sky.air.pressure_hpa == 0.0
    assert result.pole.altitude_deg == pytest.approx(NORTH.latitude_deg, abs=1e-12)
    assert result.other_pole.altitude_deg == pytest.approx(result.pole.altitude_deg, abs=1e-12)
    assert result.error != measure_frames(frames_at(NORTH)).error


def test_wrong_longitude_turns_the_axis_about_the_pole() -> None:
    # derived: shift = error x 15.041"/s of clock; a total of 31.653' and 10 s give 1.3849"
    scene = Scene([Sweep(ANGLES)], NORTH, (0.0, 31.653), 0.0, stars=0)
    frames = frames_of(scene, np.random.default_rng(1))
    late = moved(frames, east_deg=10 * 15.041067 / 3600)
    assert separation_arcsec(late.axis, moved(frames).axis) == pytest.approx(1.3849, rel=0.01)


@BOTH
def test_sag_stays_within_what_is_allowed_for_it(site: Site) -> None:
    # every camera 10" times cos(altitude) lower, by scipy's rotations
    level, sagged = (scene_at(site, angles=(5.0, 30.0, 55.0, 75.0)) for _ in range(2))
    look = level.attitudes[:, :, 2]
    sag = 10 / 3600 * DEG * np.cross(look, [0.0, 0.0, -1.0])  # its length goes as cos(altitude)
    lower = Rotation.from_rotvec(sag).as_matrix() @ level.attitudes
    object.__setattr__(sagged, "attitudes", lower)
    before, after = (
        measure_frames(frames_of(s, np.random.default_rng(1)), conditions=Conditions(flexure_arcsec=10.0))
        for s in (level, sagged)
    )
    azimuth, altitude = before.systematic.half_widths_arcmin(before.axis)
    assert before.systematic.source == "rig file"
    assert abs(after.error.azimuth_arcmin - before.error.azimuth_arcmin) <= azimuth
    assert 0.3 * altitude < abs(after.error.altitude_arcmin - before.error.altitude_arcmin) <= altitude


def test_next_step_is_told_when_the_arc_is_short() -> None:
    scene = Scene([Sweep((0.0, 5.0, 10.0))], noise_px=0.2, stars=0)
    result = measure_frames(frames_of(scene, np.random.default_rng(2)))
    assert result.next_step is not None
    assert abs(result.next_step.turn_deg) > 45
    assert result.next_step.sigma_then_arcmin < 0.2 * result.next_step.sigma_now_arcmin


def test_an_arc_of_half_a_degree_is_refused_with_advice() -> None:
    scene = Scene([Sweep((0.0, 0.25, 0.5))], noise_px=0.2, stars=0)
    with pytest.raises(GeometryError, match=r"\d+ deg (west|east) would help most") as refusal:
        measure_frames(frames_of(scene, np.random.default_rng(2)))
    assert refusal.value.arc_deg == pytest.approx(0.5, abs=0.05)


def test_frames_that_do_not_turn_are_refused() -> None:
    scene = Scene([Sweep((0.0, 0.0, 0.0))], noise_px=0.0, stars=0)
    with pytest.raises(GeometryError, match="turn the mount in right ascension"):
        measure_frames(frames_of(scene, np.random.default_rng(2)))


def test_frames_turned_in_declination_are_refused() -> None:
    # the same axis angle at three declinations: their turns are about an axis a right angle from the pole
    sweeps = [Sweep((10.0,), declination) for declination in (30.0, 50.0, 70.0)]
    with pytest.raises(GeometryError, match="declination"):
        measure_frames(frames_of(Scene(sweeps, noise_px=0.0, stars=0), np.random.default_rng(2)))


def test_alignment_carries_what_a_later_frame_needs() -> None:
    result = measure_frames(frames_at(SOUTH, 0.2))
    kept = result.alignment
    assert kept.axis is result.axis
    assert kept.error == result.error
    assert (kept.last_frame, kept.is_continuous) == (result.entries[-1].name, True)
    assert kept.steps[-1].utc == result.utc
    assert kept.sky.air == result.sky.air


def test_alignment_is_not_continuous_after_a_frame_left_out() -> None:
    frames = frames_of(
        Scene([Sweep((-40.0, -20.0, 0.0, 20.0, 40.0))], noise_px=0.05, wrong=[(4, 1440.0)]),
        np.random.default_rng(1),
    )
    result = measure_frames(frames, conditions=Conditions(noise_px=0.05))
    assert [entry.used for entry in result.entries] == [True] * 4 + [False]
    assert not result.alignment.is_continuous
    assert result.utc == frames.frames[3].utc
    assert [entry.name for entry in result.left_out] == [frames.frames[4].name]


def test_files_and_folders_are_measured_alike(tmp_path: Path) -> None:
    evening = tuple(utc_date(2026, 11, 14, 20, 30)[0])
    paths = simulated(
        tmp_path, error_arcmin=(23.4, -11.8), site=NORTH, utc=evening, axis_angles_deg=ANGLES, noise_px=0.0
    )
    of_folder, of_files = measure(tmp_path), measure(paths)
    assert of_folder.error == of_files.error
    # a header keeps milliseconds and a linear solution; 0.003' between the nodes
    assert of_folder.error.azimuth_arcmin == pytest.approx(23.4, abs=0.003)
    assert of_folder.error.altitude_arcmin == pytest.approx(-11.8, abs=0.003)


def test_no_site_is_asked_for() -> None:
    bare = FrameSet(tuple(replace(f, site=None) for f in frames_at(NORTH).frames), ())
    with pytest.raises(InputError, match="no site"):
        measure_frames(bare)
    assert measure_frames(bare, conditions=Conditions(fallback_site=NORTH)).site == NORTH


@pytest.mark.parametrize(("arc_deg", "between_arcmin"), [(3.5, (30, 60)), (2.6, (60, 120))])
def test_a_sigma_worse_than_sighting_the_pole_star_is_no_result(
    arc_deg: float, between_arcmin: tuple[float, float]
) -> None:
    """Along the bare axis the eye sets it to a degree (common practice, no source); sigma goes with the square of the arc."""
    scene = Scene([Sweep(tuple(np.linspace(0.0, arc_deg, 12)), 50.0)], NORTH, (5.0, 3.0), stars=0)
    frames = frames_of(scene, np.random.default_rng(0))
    if between_arcmin[1] <= 60:
        sigma = np.sqrt(np.linalg.eigvalsh(measure_frames(frames).fit.covariance)[-1]) / DEG * 60
    else:
        with pytest.raises(GeometryError, match="leave the axis uncertain by") as refused:
            measure_frames(frames)
        sigma = float(str(refused.value).split("uncertain by ")[1].split()[0])
    assert between_arcmin[0] < sigma < between_arcmin[1]
