"""Attitudes fitted again, against frames whose stars astropy and ERFA placed: the truth never passes through our code.

Stars: Hipparcos (J1991.25), carried to the date by ERFA's starpm, put on pixels by astropy.wcs through a tangent plane
with a distortion of order 2, or through astropy's AltAz with refraction and a pinhole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import astropy.units as u
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.io import fits
from astropy.time import Time
from astropy.utils import iers
from astropy.wcs import WCS
from scipy.spatial.transform import Rotation

from polarcheck.frames import Solution, SolutionNotes, SolvingHints, read_engine_solution, write_solution
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.sky.pole_stars import hipparcos_stars_near
from polarcheck.solving.engine import Match
from polarcheck.solving.one_frame import Recognised
from polarcheck.solving.refit import Refitted, view_of
from polarcheck.solving.refit import refit as refit_views
from polarcheck.stars import StarList
from polarcheck.vectors import spherical_from_direction

WIDTH, HEIGHT = 3000, 2000
SCALE = 14.4 / 3600  # deg: a field of 12 x 8 deg
ARCSEC = np.pi / 180 / 3600
NOISE_PX = 0.06
MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
UTC = (2461358.5, 0.35)
"""2026-11-14."""
BENT = {"A_ORDER": 2, "A_2_0": 3e-6, "A_1_1": -2e-6, "A_0_2": 1e-6} | {
    "B_ORDER": 2, "B_2_0": -1e-6, "B_1_1": 2.5e-6, "B_0_2": 2e-6,
}  # fmt: skip
"""Of one camera's lens: up to 7 px in the corner."""


@cache
def stars_on_the_date() -> np.ndarray:
    """Right ascension and declination, shape (n, 2), degrees, by ERFA."""
    stars = hipparcos_stars_near(np.array([0.0, 0.0, 1.0]), np.pi)
    ra, dec = spherical_from_direction(stars.places)
    east = np.stack([-np.sin(ra), np.cos(ra), np.zeros_like(ra)], axis=-1)
    north = np.cross(stars.places, east)
    pm_ra, pm_dec = (stars.motions * east).sum(1) / np.cos(dec), (stars.motions * north).sum(1)
    # starpm takes a parallax for a star's speed; 0.02 arcsec keeps all of them far below that of light
    there = erfa.starpm(ra, dec, pm_ra, pm_dec, 0.02, 0.0, 2448349.0625, 0.0, *UTC)
    return np.degrees(np.stack(there[:2], axis=-1))


def camera(ra: float, dec: float, turn_deg: float, bent: dict[str, float] | None = None) -> WCS:
    """A plate solution of the FITS Standard."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    kind = "-SIP" if bent else ""
    cards = {
        "CTYPE1": "RA---TAN" + kind, "CTYPE2": "DEC--TAN" + kind, "CRVAL1": ra, "CRVAL2": dec,
        "CRPIX1": MIDDLE[0] + 1, "CRPIX2": MIDDLE[1] + 1,
        "CD1_1": -SCALE * c, "CD1_2": SCALE * s, "CD2_1": SCALE * s, "CD2_2": SCALE * c,
        "NAXIS": 2, "NAXIS1": WIDTH, "NAXIS2": HEIGHT, **(bent or {}),
    }  # fmt: skip
    return WCS(fits.Header(cards))


def seen(pixels: np.ndarray, seed: int, noise_px: float = NOISE_PX) -> np.ndarray:
    """Those on the sensor, with errors of their centres."""
    inside = (np.isfinite(pixels) & (pixels > 3) & (pixels < [WIDTH - 4, HEIGHT - 4])).all(axis=1)
    return np.asarray(pixels[inside] + np.random.default_rng(seed).normal(0, noise_px, (inside.sum(), 2)))


def recognised(
    folder: Path, name: str, pixels: np.ndarray, rough: WCS, said: SolvingHints | None = None
) -> Recognised:
    """What a solver makes of a frame: right to 1.5 px and a few hundredths of a degree of roll, without the lens."""
    file = folder / f"{name}.engine"
    header = rough.to_header(relax=True)
    header["CRVAL1"] += 1.2 * SCALE / np.cos(np.radians(header["CRVAL2"]))
    header["IMAGEW"], header["IMAGEH"] = WIDTH, HEIGHT
    fits.PrimaryHDU(None, header).writeto(file)
    stars = StarList(pixels, np.ones(len(pixels)), WIDTH, HEIGHT, 2.5, 0.0, False, False)
    solution = read_engine_solution(file, (WIDTH, HEIGHT))
    return Recognised(folder / name, stars, Match(solution), said or SolvingHints(utc=UTC))


def refit(frames: Sequence[Recognised]) -> dict[Path, Refitted]:
    return refit_views([view_of(frame) for frame in frames])


def written(folder: Path, found: Refitted) -> WCS:
    """The solution as astropy reads it from the file."""
    write_solution(folder / "kept.wcs", found.plate, SolutionNotes("a solver", None, 1, 0.1))
    header = fits.getheader(folder / "kept.wcs")
    header["NAXIS"], header["NAXIS1"], header["NAXIS2"] = 2, WIDTH, HEIGHT
    return WCS(header)


def offsets_px(found: WCS, true: SkyCoord, pixels: np.ndarray) -> np.ndarray:
    """How far the sky that a solution gives for pixels is from the true one, shape (n,)."""
    return np.asarray(found.pixel_to_world(*pixels.T).separation(true).deg / SCALE)


@dataclass
class Drawn:
    frames: list[Recognised]
    truth: list[WCS]
    counts: list[int]


@pytest.fixture
def eight(tmp_path: Path) -> Drawn:
    """Eight frames of one camera, here and there in the sky, turned anyhow."""
    made = Drawn([], [], [])
    for k in range(8):
        where = (20.0 + 43 * k, -50.0 + 15 * k, 77.0 * k)
        true = camera(*where, BENT)
        near = SkyCoord(*where[:2], unit="deg").separation(SkyCoord(stars_on_the_date(), unit="deg")).deg < 8
        pixels = true.all_world2pix(stars_on_the_date()[near], 0, quiet=True)
        stars = seen(pixels, k)
        made.frames.append(recognised(tmp_path, f"f{k}", stars, camera(*where)))
        made.truth.append(true)
        made.counts.append(len(stars))
    return made


def test_lens_and_attitudes_come_out_to_what_the_noise_allows(eight: Drawn, tmp_path: Path) -> None:
    fitted = refit(eight.frames)
    assert len(fitted) == len(eight.frames)
    corners = np.array([[0, 0], [WIDTH - 1, 0], [0, HEIGHT - 1], [WIDTH - 1, HEIGHT - 1]], dtype=float)
    at_centre, pulls = [], []
    for frame, true, count in zip(eight.frames, eight.truth, eight.counts, strict=True):
        found = fitted[frame.path]
        kept = written(tmp_path, found)
        for pixels, limit in ((MIDDLE[None], 0.04), (corners, 0.12)):
            off = offsets_px(kept, true.pixel_to_world(*pixels.T), pixels)
            assert off.max() < limit  # 0.06 px over some 250 stars: 0.004 px each way; corners extrapolate
        at_centre.append(offsets_px(kept, true.pixel_to_world(*MIDDLE[:, None]), MIDDLE[None])[0])
        pulls.append(at_centre[-1] / (NOISE_PX / np.sqrt(count)))
        assert found.order == 2
        assert found.frames == 8
    # two coordinates of one standard error each make 1.4 rms; each frame's own scale and shear go into it too
    assert 0.7 < np.sqrt(np.mean(np.square(pulls))) < 2.8


def test_residual_is_the_noise_that_was_drawn(eight: Drawn) -> None:
    """Least squares: rms of n residuals with p unknowns is noise times the root of 1 - p / n, outliers clipped aside."""
    fitted = refit(eight.frames)
    unknown = 6 + 9 / 8  # three turns, three of its own shape, its share of the lens
    for frame, count in zip(eight.frames, eight.counts, strict=True):
        found = fitted[frame.path]
        expected = NOISE_PX * np.sqrt(1 - unknown / (2 * count))
        assert found.residual_rms_px == pytest.approx(expected, rel=4 / np.sqrt(4 * count))
        assert 0.85 * count < found.matched_stars <= count
        assert sum(number for _, number in found.stars_from) == found.matched_stars


def test_proper_motion_is_taken_to_the_date(eight: Drawn, tmp_path: Path) -> None:
    """Without a date stars stand where they were in 2016: eleven years of the stars' common drift and scatter remain."""
    dated = refit(eight.frames)
    undated = refit([replace(frame, said=SolvingHints()) for frame in eight.frames])
    off = []
    for fitted in (dated, undated):
        each = [
            offsets_px(written(tmp_path, fitted[f.path]), t.pixel_to_world(*MIDDLE[:, None]), MIDDLE[None])[0]
            for f, t in zip(eight.frames, eight.truth, strict=True)
        ]
        off.append(np.sqrt(np.mean(np.square(each))))
    assert off[0] < 0.02
    assert off[1] > off[0]


def test_wrong_pairs_and_strangers_are_left_out(eight: Drawn, tmp_path: Path) -> None:
    rng = np.random.default_rng(9)
    frames = []
    for frame in eight.frames:
        pixels = frame.stars.pixels.copy()
        moved = rng.choice(len(pixels), len(pixels) // 12, replace=False)
        pixels[moved] += rng.uniform(0.7, 2.5, (len(moved), 2))
        strangers = rng.uniform([5, 5], [WIDTH - 6, HEIGHT - 6], (40, 2))
        both = np.vstack([pixels, strangers])
        frames.append(replace(frame, stars=replace(frame.stars, pixels=both, flux=np.ones(len(both)))))
    fitted = refit(frames)
    for frame, true in zip(frames, eight.truth, strict=True):
        kept = written(tmp_path, fitted[frame.path])
        assert offsets_px(kept, true.pixel_to_world(*MIDDLE[:, None]), MIDDLE[None])[0] < 0.04
        assert fitted[frame.path].residual_rms_px < 1.3 * NOISE_PX


def test_refraction_and_aberration_are_taken_off(tmp_path: Path) -> None:
    """Low in the sky refraction shears a field of 12 deg by whole pixels; a pinhole under astropy's AltAz knows it."""
    site = Site(47.3, 11.2, 900.0)
    air = Sky.over(site).air
    time = Time(*UTC, format="jd", scale="utc")
    place = EarthLocation.from_geodetic(site.longitude_deg, site.latitude_deg, site.height_m)
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("iers_degraded_accuracy", "warn"):
        frame = AltAz(
            obstime=time, location=place, pressure=air.pressure_hpa * u.hPa, temperature=air.temperature_c * u.deg_C,
            relative_humidity=air.relative_humidity, obswl=air.wavelength_um * u.micron,
        )  # fmt: skip
        frames, truth = [], []
        for k, (azimuth, altitude) in enumerate([(100.0, 24.0), (190.0, 30.0), (250.0, 40.0), (20.0, 55.0)]):
            centre = SkyCoord(az=azimuth, alt=altitude, unit="deg", frame=frame)
            whole = SkyCoord(stars_on_the_date(), unit="deg")
            some = whole[whole.separation(centre.icrs) < 8 * u.deg]
            turn = Rotation.from_euler("ZYX", [azimuth, -altitude, 33.0 * k], degrees=True)  # to x forward
            ahead = turn.inv().apply(some.transform_to(frame).cartesian.xyz.value.T * [1, 1, 1])
            flat = ahead[:, 1:] / ahead[:, :1] / np.radians(SCALE)
            stars = seen(MIDDLE + flat * [1, 1], 30 + k)
            middle = centre.icrs
            grid = np.array([MIDDLE + [a, b] for a in (-1400, 0, 1400) for b in (-900, 0, 900)])
            rays = np.column_stack([np.ones(9), (grid - MIDDLE) * np.radians(SCALE)])
            x, y, z = turn.apply(rays / np.linalg.norm(rays, axis=1)[:, None]).T
            looked = SkyCoord(az=np.arctan2(y, x) * u.rad, alt=np.arcsin(z) * u.rad, frame=frame).icrs
            rough = _tangent(grid, looked, middle)
            said = SolvingHints(utc=UTC, site=site)
            frames.append(recognised(tmp_path, f"low{k}", stars, rough, said))
            truth.append((grid, looked))
    fitted = refit(frames)
    assert len(fitted) == 4
    for seen_frame, (grid, looked) in zip(frames, truth, strict=True):
        assert fitted[seen_frame.path].order == 1  # nothing of the sky is laid on the lens
        assert fitted[seen_frame.path].residual_rms_px < 1.15 * NOISE_PX
        assert offsets_px(written(tmp_path, fitted[seen_frame.path]), looked, grid).max() < 0.05


def _tangent(grid: np.ndarray, looked: SkyCoord, middle: SkyCoord) -> WCS:
    """A linear solution, as a solver would give: the places in the tangent plane, by least squares."""
    found = WCS(naxis=2)
    found.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    found.wcs.crval = [middle.ra.deg, middle.dec.deg]
    found.wcs.crpix = MIDDLE + 1
    found.wcs.cd = np.eye(2)
    plane = np.stack(found.all_world2pix(looked.ra.deg, looked.dec.deg, 0), axis=-1) - MIDDLE
    found.wcs.cd = np.linalg.lstsq(grid - MIDDLE, plane, rcond=None)[0].T
    found.wcs.set()
    found.pixel_shape = (WIDTH, HEIGHT)
    return found


def test_frames_that_match_nothing_keep_the_solvers_word(eight: Drawn, tmp_path: Path) -> None:
    """A few stars, or ones that are elsewhere, make no fit: better none than a wrong one."""
    rng = np.random.default_rng(3)
    frame = eight.frames[0]
    few = replace(frame.stars, pixels=frame.stars.pixels[:4], flux=np.ones(4))
    chance = rng.uniform([5, 5], [WIDTH - 6, HEIGHT - 6], (300, 2))
    elsewhere = replace(frame.stars, pixels=chance, flux=np.ones(300))
    for stars in (few, elsewhere):
        assert refit([replace(frame, stars=stars)]) == {}


def test_cameras_of_other_scales_do_not_share_a_lens(eight: Drawn, tmp_path: Path) -> None:
    where = (300.0, 10.0, 5.0)
    true = camera(*where)
    true.wcs.cd = true.wcs.cd * 1.1
    pixels = seen(true.all_world2pix(stars_on_the_date(), 0, quiet=True)[_near(where, 9.0)], 50)
    other = recognised(tmp_path, "other", pixels, true)
    fitted = refit([*eight.frames, other])
    assert fitted[other.path].frames == 1
    assert fitted[eight.frames[0].path].frames == 8


def _near(where: tuple[float, float, float], within_deg: float) -> np.ndarray:
    apart = SkyCoord(*where[:2], unit="deg").separation(SkyCoord(stars_on_the_date(), unit="deg")).deg
    return np.asarray(apart < within_deg)


def solved_as(true: WCS, file: Path) -> Solution:
    """What a solver says of a frame, read from its file."""
    header = true.to_header(relax=True)
    header["IMAGEW"], header["IMAGEH"] = WIDTH, HEIGHT
    fits.PrimaryHDU(None, header).writeto(file)
    return read_engine_solution(file, (WIDTH, HEIGHT))


@pytest.mark.parametrize(("off_px", "is_fitted"), [(2.0, True), (2.5, True), (4.0, False), (5.5, False)])
def test_a_solution_some_pixels_off_is_none(
    eight: Drawn, tmp_path: Path, off_px: float, is_fitted: bool
) -> None:
    """Solvers are right to a pixel or two of what they matched; where none is near, other stars would be taken."""
    frame, rough = eight.frames[2], eight.truth[2].deepcopy()
    rough.wcs.crpix = rough.wcs.crpix + [0.0, off_px]
    moved = replace(frame, match=Match(solved_as(rough, tmp_path / "off.engine")))
    assert (frame.path in refit([moved])) == is_fitted


@pytest.mark.parametrize(("noise_px", "is_fitted"), [(0.3, True), (0.75, True), (1.6, False)])
def test_stars_scattered_by_more_than_a_pixel_make_no_fit(
    eight: Drawn, noise_px: float, is_fitted: bool
) -> None:
    """Centres are right to a tenth of a pixel, those of trails and of noise to less than one (common practice, no
    source): what is left of a fit is more only where the stars are others.
    """
    frame = eight.frames[4]
    off = np.random.default_rng(8).normal(0, noise_px, frame.stars.pixels.shape)
    scattered = replace(frame, stars=replace(frame.stars, pixels=frame.stars.pixels + off))
    assert (frame.path in refit([scattered])) == is_fitted


@pytest.mark.parametrize(("count", "is_fitted"), [(3, False), (6, True), (9, True)])
def test_a_frame_of_few_stars_is_fitted_with_the_lens_of_others(
    eight: Drawn, count: int, is_fitted: bool
) -> None:
    """Three unknowns of its own take two stars; with five a wrong one shows."""
    poor = eight.frames[3]
    nearest = np.argsort(np.linalg.norm(poor.stars.pixels - MIDDLE, axis=1))[:count]
    pixels = poor.stars.pixels[nearest]
    fewer = replace(poor, stars=replace(poor.stars, pixels=pixels, flux=np.ones(count)))
    assert (poor.path in refit([fewer, *eight.frames[1:3]])) == is_fitted


@pytest.mark.parametrize(("off_arcsec", "catalogue"), [(7.0, "Gaia"), (15.0, "index")])
def test_an_index_star_is_that_of_the_catalogue_if_it_is_near(
    eight: Drawn, tmp_path: Path, off_arcsec: float, catalogue: str
) -> None:
    """In a quarter of a century few stars move by ten seconds of arc. An index at their old places, and a solution by
    these: the stars' places on the date count, if it is they.
    """
    frame, true = eight.frames[1], eight.truth[1]
    sky = true.pixel_to_world(*frame.stars.pixels.T)
    old = SkyCoord(sky.ra, sky.dec + off_arcsec * u.arcsec).cartesian.xyz.value.T
    moved = true.deepcopy()
    moved.wcs.crval = moved.wcs.crval + [0.0, off_arcsec / 3600]
    match = Match(solved_as(moved, tmp_path / "old.engine"), sky=old)
    assert refit([replace(frame, match=match)])[frame.path].stars_from[0][0] == catalogue


@pytest.mark.parametrize(("off_arcsec", "is_used"), [(0.3, True), (1.35, True), (2.5, False)])
def test_an_index_star_is_as_good_as_the_motions_that_it_does_not_know(
    tmp_path: Path, off_arcsec: float, is_used: bool
) -> None:
    """Most stars of magnitude 9 to 12 move by some 15 mas a year (from memory): 0.4 seconds of arc in 25 years. Of
    offsets with this deviation in each coordinate one in 300 is beyond 1.35, and one in 3e8 beyond 2.5 (Rayleigh).
    """
    narrow = camera(130.0, 30.0, 20.0)
    narrow.wcs.cd = narrow.wcs.cd / 14.4  # 1 arcsec for each pixel
    pixels = np.random.default_rng(12).uniform([100, 100], [WIDTH - 100, HEIGHT - 100], (24, 2))
    index = narrow.pixel_to_world(*pixels.T).cartesian.xyz.value.T
    seen_at = pixels + np.eye(24)[:, :1] * [off_arcsec, 0.0]
    solution = solved_as(narrow, tmp_path / "narrow.engine")
    stars = StarList(seen_at, np.ones(24), WIDTH, HEIGHT, 2.5, 0.0, False, False)
    frame = Recognised(tmp_path / "narrow", stars, Match(solution, sky=index), SolvingHints(utc=UTC))
    assert refit([frame])[frame.path].matched_stars == 23 + is_used


@pytest.mark.parametrize(("altitude_deg", "is_believed"), [(2.0, False), (4.5, True), (25.0, True)])
def test_a_clock_and_place_that_put_a_frame_at_the_horizon_are_wrong(
    tmp_path: Path, altitude_deg: float, is_believed: bool
) -> None:
    """Nobody images lower than 3 deg (common practice, no source). Stars drawn without air: where they are believed to
    be seen through it, they do not fit, for it moves stars of one low field by many pixels against each other.
    """
    narrow = camera(130.0, 30.0, 20.0)
    narrow.wcs.cd = narrow.wcs.cd / 4
    pixels = np.random.default_rng(12).uniform([100, 100], [WIDTH - 100, HEIGHT - 100], (40, 2))
    index = narrow.pixel_to_world(*pixels.T).cartesian.xyz.value.T
    turned_deg = 280.46062 + 360.98564736629 * (
        UTC[0] - 2451545.0 + UTC[1]
    )  # Greenwich mean sidereal time, from memory
    due_north_of_it = Site(30.0 - 90.0 + altitude_deg, (130.0 - turned_deg + 180) % 360 - 180, 0.0)
    stars = StarList(pixels, np.ones(40), WIDTH, HEIGHT, 2.5, 0.0, False, False)
    said = SolvingHints(utc=UTC, site=due_north_of_it)
    frame = Recognised(
        tmp_path / "f", stars, Match(solved_as(narrow, tmp_path / "f.engine"), sky=index), said
    )
    found = refit([frame]).get(frame.path)
    assert (found is None or found.order > 1) is is_believed, found
