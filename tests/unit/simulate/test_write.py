"""The simulated mount against ERFA, astropy and plain geometry; the reader reads its frames."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import astropy.units as u
import astropy_iers_data
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, angular_separation
from astropy.io import fits
from astropy.time import Time
from astropy.utils import iers
from astropy.wcs import WCS

from polarcheck.errors import InputError
from polarcheck.frames import SENSOR_WEIGHTS, read_frames
from polarcheck.simulate import (
    Camera,
    camera_directions,
    camera_pixels,
    error_of_axis,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
)
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import Sky
from tests import commands
from tests.helpers import ARCSEC, DEG, altitude_of, enu, icrs, separation_arcsec, utc_date

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
EVENING = tuple(utc_date(2026, 11, 14, 21, 10)[0])
NO_AIR = Atmosphere(0.0, 10.0)
BOTH = pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])


def simulated(folder: Path, **changes: Any) -> list[Path]:
    settings: dict[str, Any] = {"error_arcmin": (23.4, -11.8), "site": NORTH, "utc": EVENING}
    return commands.simulated(folder, **(settings | changes))


def boresights(site: Site, angles_deg: list[float], declination_deg: float) -> np.ndarray:
    axis = Sky.over(site).true_pole.direction
    angles = np.array(angles_deg) * DEG
    return mount_attitudes(axis, site.is_north, angles, declination_deg * DEG, 0.0)[:, :, 2]


def test_axis_east_of_northern_pole_comes_from_a_positive_azimuth_error() -> None:
    east, north, up = mount_axis((60.0, 30.0), Sky.over(NORTH).true_pole)
    assert east > 0
    assert north > 0
    assert np.arcsin(up) == pytest.approx(47.8 * DEG)


def test_axis_west_of_southern_pole_comes_from_a_positive_azimuth_error() -> None:
    east, north, up = mount_axis((60.0, -30.0), Sky.over(SOUTH).true_pole)
    assert east < 0
    assert north < 0
    assert np.arcsin(up) == pytest.approx(30.9 * DEG)


@BOTH
def test_axis_angle_and_declination_of_an_aligned_mount_are_hour_angle_and_declination(site: Site) -> None:
    # ERFA eraAe2hd, an outside implementation of the triangle pole-zenith-star
    declination_deg = np.copysign(37.0, site.latitude_deg)
    angles_deg = [-100.0, -30.0, 0.0, 45.0, 90.0]
    seen = boresights(site, angles_deg, float(declination_deg))
    azimuth = np.arctan2(seen[:, 0], seen[:, 1])
    hour_angle, declination = erfa.ae2hd(azimuth, altitude_of(seen), site.latitude_deg * DEG)
    assert hour_angle / DEG == pytest.approx(angles_deg, abs=1e-9)
    assert declination / DEG == pytest.approx([declination_deg] * 5, abs=1e-9)


@BOTH
def test_camera_angle_is_the_position_angle_of_the_sensor_column(site: Site) -> None:
    # the zenith's position angle is the parallactic angle (ERFA eraHd2pa), north through east
    hour_angle, declination, camera_angle = 0.7, np.copysign(0.6, site.latitude_deg), 0.35
    turned = mount_attitudes(
        Sky.over(site).true_pole.direction,
        site.is_north,
        np.array([hour_angle]),
        float(declination),
        camera_angle,
    )[0]
    zenith_in_camera = turned.T @ [0.0, 0.0, 1.0]
    # first axis of the camera lies 90 deg from the second, towards growing position angle
    from_column = np.arctan2(zenith_in_camera[0], zenith_in_camera[1])
    parallactic = erfa.hd2pa(hour_angle, declination, site.latitude_deg * DEG)
    assert np.exp(1j * (from_column + camera_angle)) == pytest.approx(np.exp(1j * parallactic), abs=1e-12)


@pytest.mark.parametrize("mirrored", [False, True])
def test_camera_is_the_gnomonic_projection_of_the_fits_standard(mirrored: bool) -> None:
    camera = Camera(mirrored=mirrored)
    pixels = np.array([[0.0, 0.0], [1199.0, 0.0], [599.5, 449.5], [300.0, 800.0]])
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crpix = [600.5, 450.5]
    scale_deg = camera.pixel_scale_arcsec / 3600
    wcs.wcs.cd = np.diag([scale_deg if mirrored else -scale_deg, scale_deg])  # east left, unless mirrored
    wcs.wcs.crval = [0.0, 0.0]
    ra, dec = wcs.all_pix2world(pixels, 0).T * DEG
    x, y, z = icrs(ra, dec).T  # at (0, 0): x to the star, y east, z north
    directions = camera_directions(pixels, camera)
    assert directions == pytest.approx(np.stack([y, z, x], axis=-1), abs=1e-12)
    assert camera_pixels(directions, camera) == pytest.approx(pixels, abs=1e-8)


def test_what_is_behind_the_camera_falls_on_no_pixel() -> None:
    assert np.isnan(camera_pixels(np.array([[0.1, 0.1, -0.99]]), Camera())).all()


def test_error_names_hold_the_angles_that_astropy_finds() -> None:
    pole = Sky(SOUTH, standard_atmosphere(SOUTH.height_m)).refracted_pole
    error = error_of_axis(mount_axis((-31.2, 17.6), pole), pole)
    altitude = pole.altitude_deg + 17.6 / 60
    total = angular_separation(0.0, pole.altitude_deg * DEG, 31.2 / 60 * DEG, altitude * DEG)
    assert error["azimuth_arcmin"] == pytest.approx(-31.2, abs=1e-9)
    assert error["altitude_arcmin"] == pytest.approx(17.6, abs=1e-9)
    assert error["azimuth_on_sky_arcmin"] == pytest.approx(-31.2 * np.cos(altitude * DEG), abs=1e-9)
    assert error["total_arcmin"] == pytest.approx(total / DEG * 60, abs=1e-8)


def test_noise_has_the_stated_size_in_pointing_and_in_roll() -> None:
    # 1 px is 4.95 arcsec; stars spread evenly over 1200 x 900 px lie 433 px from the centre (root mean
    # square), so the same noise turns them by 1/433 rad; 20,000 draws know a sigma to 0.5 %
    camera = Camera(pixel_scale_arcsec=4.95)
    still = np.broadcast_to(np.eye(3), (20_000, 3, 3))
    noisy = noisy_attitudes(still, camera, 1.0, np.random.default_rng(5))
    assert noisy[:, 0, 2].std() / ARCSEC == pytest.approx(4.95, rel=0.02)
    assert noisy[:, 1, 2].std() / ARCSEC == pytest.approx(4.95, rel=0.02)
    assert noisy[:, 1, 0].std() * 433.0 == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("mirrored", [False, True], ids=["plain", "mirrored"])
@BOTH
def test_frames_look_where_astropy_sees_the_mount_point(site: Site, mirrored: bool, tmp_path: Path) -> None:
    # refraction and aberration bend the field beyond a gnomonic projection by up to 0.02 arcsec
    camera = Camera(mirrored=mirrored)
    air = standard_atmosphere(site.height_m)
    settings = {"site": site, "noise_px": 0.0, "camera": camera, "axis_angles_deg": [10.0, 40.0, 70.0]}
    paths = simulated(tmp_path, **settings, declination_deg=np.copysign(50.0, site.latitude_deg))
    axis = mount_axis((23.4, -11.8), Sky(site, air).refracted_pole)
    angles = np.array([10.0, 40.0, 70.0]) * DEG
    declination = np.copysign(50.0, site.latitude_deg) * DEG
    turned = mount_attitudes(axis, site.is_north, angles, float(declination), 20 * DEG)
    for path, attitude in zip(paths, turned, strict=True):
        seen = seen_by_astropy(path, site, air, sensor_points(camera))
        expected = camera_directions(sensor_points(camera), camera) @ attitude.T
        assert separation_arcsec(seen, expected).max() < 0.03


def seen_by_astropy(path: Path, site: Site, air: Atmosphere, pixels: np.ndarray) -> np.ndarray:
    header = fits.getheader(path, 1)
    place = EarthLocation.from_geodetic(site.longitude_deg, site.latitude_deg, site.height_m)
    ra, dec = WCS(header, fix=False).all_pix2world(pixels, 0).T
    with iers.earth_orientation_table.set(iers.IERS_A.open(astropy_iers_data.IERS_A_FILE)):
        middle = Time(header["DATE-OBS"], scale="utc") + header["EXPTIME"] / 2 * u.s
        frame = AltAz(
            obstime=middle,
            location=place,
            pressure=air.pressure_hpa * u.hPa,
            temperature=air.temperature_c * u.deg_C,
            relative_humidity=air.relative_humidity,
            obswl=air.wavelength_um * u.micron,
        )
        seen = SkyCoord(ra * u.deg, dec * u.deg, frame="icrs").transform_to(frame)
        return enu(seen.az.rad, seen.alt.rad)


@BOTH
def test_aligned_mount_that_tracks_keeps_its_field_for_an_hour(site: Site, tmp_path: Path) -> None:
    # no air, no error: only diurnal aberration (0.3 arcsec at most) and polar motion's direction change
    paths = simulated(
        tmp_path,
        site=site,
        error_arcmin=(0.0, 0.0),
        atmosphere=NO_AIR,
        noise_px=0.0,
        tracking_only=True,
        count=4,
        cadence_s=1200.0,
    )
    sky = np.array([frame.sky for frame in read_frames(paths).frames])
    assert separation_arcsec(sky[1:], sky[:1]).max() < 0.5


def test_tracking_mount_with_an_axis_error_drifts_as_first_order_theory_says(tmp_path: Path) -> None:
    # declination of the boresight changes at +omega (x cos H + y sin H) while the mount tracks (the star
    # drifts the other way in the camera); x = azimuth error times cos(latitude). Derived, no printed source.
    paths = simulated(
        tmp_path,
        error_arcmin=(10.0, 0.0),
        atmosphere=NO_AIR,
        noise_px=0.0,
        tracking_only=True,
        axis_angles_deg=[0.0],
        count=2,
        cadence_s=600.0,
    )
    first, last = (frame.centre for frame in read_frames(paths).frames)
    turned = 600.0 * 2 * np.pi / 86164.0905
    expected = 600.0 * np.cos(47.3 * DEG) * np.sin(turned)  # [arcsec]
    assert (altitude_of(last) - altitude_of(first)) / ARCSEC == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("keywords", ["geodetic", "sexagesimal"])
@BOTH
def test_reader_reads_the_frames_as_any_solved_frames(site: Site, keywords: str, tmp_path: Path) -> None:
    camera = Camera(mirrored=keywords == "geodetic")
    simulated(tmp_path, site=site, site_keywords=keywords, camera=camera, count=3, exposure_s=8.0)
    found = read_frames([tmp_path])
    assert not found.problems
    assert len(found.frames) == 3
    for number, frame in enumerate(found.frames):
        assert (frame.width_px, frame.height_px, frame.exposure_s) == (1200, 900, 8.0)
        assert frame.pixel_scale_arcsec == pytest.approx(camera.pixel_scale_arcsec, rel=1e-3)
        assert frame.mirrored == camera.mirrored
        assert frame.notices == ()
        assert frame.site is not None
        assert frame.site.latitude_deg == pytest.approx(site.latitude_deg, abs=1e-6)
        assert frame.site.longitude_deg == pytest.approx(site.longitude_deg, abs=1e-6)
        assert frame.site.height_m == site.height_m
        elapsed_s = ((frame.utc[0] - EVENING[0]) + (frame.utc[1] - EVENING[1])) * 86400
        assert elapsed_s == pytest.approx(40.0 * number, abs=1e-3)


def test_truth_file_holds_the_error_object(tmp_path: Path) -> None:
    simulated(tmp_path, pole="true", seed=9)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert truth["schema"] == "polarcheck.truth/1"
    assert truth["pole"] == {"kind": "true", "azimuth_deg": 0.0, "altitude_deg": 47.3}
    assert truth["axis"]["altitude_deg"] == pytest.approx(47.3 - 11.8 / 60)
    assert truth["error"]["azimuth_arcmin"] == 23.4
    assert truth["error"]["altitude_arcmin"] == -11.8
    assert truth["seed"] == 9
    assert len(truth["frames"]) == 7


def test_truth_file_knows_the_axis_far_better_than_any_fit(tmp_path: Path) -> None:
    """A fit is right to a hundredth of an arcsecond at best, and the last digits of 64 bits are the arithmetic's:
    it tells 1e-9 deg, 3.6 microarcseconds, and no more digits.
    """
    error = (23.123456789, -11.987654321)
    simulated(tmp_path, error_arcmin=error, count=1)
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    pole = Sky.over(NORTH).refracted_pole
    assert truth["axis"]["altitude_deg"] == pytest.approx(pole.altitude_deg + error[1] / 60, abs=1e-8)
    assert truth["error"]["azimuth_arcmin"] == pytest.approx(error[0], abs=1e-8)
    assert len(str(truth["error"]["total_arcmin"])) <= len("25.123456789")


def test_a_seed_repeats_itself_and_another_differs(tmp_path: Path) -> None:
    once, again, other = (tmp_path / name for name in ("once", "again", "other"))
    for folder, seed in ((once, 3), (again, 3), (other, 4)):
        simulated(folder, seed=seed, count=2)
    names = ["simulated_01.fits.fz", "simulated_02.fits.fz", "truth.json"]
    assert [(once / n).read_bytes() for n in names] == [(again / n).read_bytes() for n in names]
    assert (once / names[0]).read_bytes() != (other / names[0]).read_bytes()


def test_a_new_simulation_replaces_only_what_an_earlier_one_wrote(tmp_path: Path) -> None:
    simulated(tmp_path, count=5)
    (tmp_path / ".DS_Store").write_bytes(b"of the system")
    (tmp_path / ".polarcheck-0123456789abcdef.part").write_bytes(b"of a run that was killed")
    simulated(tmp_path, count=2)
    assert sorted(p.name for p in tmp_path.iterdir() if not p.name.startswith(".")) == [
        "simulated_01.fits.fz",
        "simulated_02.fits.fz",
        "truth.json",
    ]
    (tmp_path / "mine.fits").write_bytes(b"mine")
    with pytest.raises(InputError, match=r"holds mine.fits, which no simulation wrote"):
        simulated(tmp_path, count=3)
    assert len(list(tmp_path.glob("*.fz"))) == 2


def test_default_sweep_stays_high_enough_near_the_equator(tmp_path: Path) -> None:
    simulated(tmp_path, site=Site(2.0, 0.0), count=4)
    angles = [f["axis_angle_deg"] for f in json.loads((tmp_path / "truth.json").read_text())["frames"]]
    assert 20 < angles[-1] - angles[0] < 80
    lowest = boresights(Site(2.0, 0.0), [angles[-1]], 50.0)
    assert altitude_of(lowest)[0] > 10 * DEG


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"axis_angles_deg": [0.0, 90.0], "declination_deg": -20.0}, "axis angle 90.0 deg"),
        ({"axis_angles_deg": [float("nan")]}, "altitude"),
        ({"axis_angles_deg": []}, "0 frames"),
        ({"count": 0}, "0 frames"),
        ({"error_arcmin": (0.0, 3000.0)}, "not possible"),
        ({"error_arcmin": (float("nan"), 0.0)}, "two finite numbers"),
        ({"exposure_s": 0.0}, "exposures of 0 s"),
        ({"cadence_s": 1.0}, "every 1 s"),
        ({"noise_px": -1.0}, "noise"),
        ({"declination_deg": 91.0}, "declination 91"),
    ],
)
def test_impossible_simulation_is_refused_before_anything_is_written(
    changes: dict[str, Any], wrong: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=wrong):
        simulated(tmp_path / "new", **changes)
    assert not (tmp_path / "new").exists()


NO_ROOM = Camera(width_px=14_200, height_px=14_200)  # 202 million pixels
ROOM = Camera(width_px=14_100, height_px=14_100)  # 199 million


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"camera": NO_ROOM}, "too large"),
        ({"camera": ROOM, "count": 0}, "0 frames"),  # what is looked at after the size
        ({"noise_px": 1001.0}, "noise"),
        ({"noise_px": 999.0, "count": 0}, "0 frames"),
    ],
)
def test_limits_lie_beyond_any_camera_and_any_solver(
    changes: dict[str, Any], wrong: str, tmp_path: Path
) -> None:
    """Sensors have 150 million pixels at most, and a solver that is off by a thousand is wrong: common practice, no
    source.
    """
    with pytest.raises(InputError, match=wrong):
        simulated(tmp_path / "new", **changes)


@pytest.mark.parametrize(
    ("date", "is_known"),
    [((1959, 12, 31), False), ((1960, 1, 1), True), ((2100, 12, 31), True), ((2101, 1, 1), False)],
)
def test_times_are_those_of_utc_and_of_this_century(
    date: tuple[int, int, int], is_known: bool, tmp_path: Path
) -> None:
    """UTC begins with 1960 (ERFA's eraDat, from memory); nobody can know its leap seconds in a hundred years."""
    small = Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0)
    given: dict[str, Any] = {"utc": (sum(erfa.cal2jd(*date)), 0.5), "count": 1, "camera": small}
    if is_known:
        assert len(simulated(tmp_path, **given)) == 1
    else:
        with pytest.raises(InputError, match="1960 to 2100"):
            simulated(tmp_path, **given)


@pytest.mark.parametrize(("declination_deg", "is_high"), [(-32.6, True), (-32.8, False)])
def test_no_frame_looks_below_ten_degrees(declination_deg: float, is_high: bool, tmp_path: Path) -> None:
    """On the meridian the altitude is 90 deg - latitude + declination: 10.1 and 9.9 deg at 47.3."""
    small = Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0)
    given: dict[str, Any] = {
        "error_arcmin": (0.0, 0.0),
        "pole": "true",
        "atmosphere": NO_AIR,
        "camera": small,
    }
    given |= {"axis_angles_deg": [0.0], "declination_deg": declination_deg}
    if is_high:
        assert len(simulated(tmp_path, **given)) == 1
    else:
        with pytest.raises(InputError, match=r"9\.9 deg, below 10"):
            simulated(tmp_path, **given)


def test_a_sweep_covers_eighty_degrees_where_the_sky_allows_it(tmp_path: Path) -> None:
    """As `Sweep` says; at latitude 70 declination 50 never sinks below 30 deg."""
    small = Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0)
    simulated(tmp_path, site=Site(70.0, 0.0), count=2, camera=small)
    angles = [f["axis_angle_deg"] for f in json.loads((tmp_path / "truth.json").read_text())["frames"]]
    assert angles[-1] - angles[0] == pytest.approx(80.0)


@pytest.mark.parametrize(
    "camera", [{"width_px": 1}, {"pixel_scale_arcsec": 0.0}, {"pixel_scale_arcsec": 1000.0}]
)
def test_impossible_camera_is_refused(camera: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="not possible"):
        Camera(**camera)


def test_sensor_points_keep_the_second_moment_of_stars_spread_evenly() -> None:
    away = sensor_points(Camera()) - [599.5, 449.5]
    assert SENSOR_WEIGHTS @ away**2 == pytest.approx([1200**2 / 12, 900**2 / 12])


def test_progress_is_told_frame_by_frame(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    small = Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0)
    simulated(tmp_path, count=3, camera=small, progress=lambda *so_far: told.append(so_far))
    assert told == [(1, 3), (2, 3), (3, 3)]
