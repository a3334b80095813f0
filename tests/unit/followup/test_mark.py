"""The mark on the sensor against knobs turned by scipy's rotations, seen through a camera of the test's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import erfa
import numpy as np
import numpy.typing as npt
import pytest
from astropy.io import fits
from scipy.spatial.transform import Rotation

from polarcheck.followup.mark import View, choose_star
from polarcheck.frames import Solution, read_solution
from polarcheck.knobs.correction import correct_knobs
from polarcheck.knobs.moves import Move
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.source import given_alignment
from polarcheck.site import Site
from polarcheck.sky.air import standard_atmosphere
from polarcheck.sky.observed import Sky
from tests.helpers import ARCSEC, DEG, enu, utc_date

Array = npt.NDArray[np.float64]

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
WIDTH, HEIGHT, SCALE = 1200, 900, 4.95
MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
EVENING = utc_date(2026, 11, 14, 21, 10)
SIDEREAL = 7.2921150e-5  # [rad/s], IERS Conventions 2010, table 1.1
SIP = {
    "A_ORDER": 3,
    "B_ORDER": 3,
    "A_3_0": -4e-9,
    "A_1_2": -4e-9,
    "B_0_3": -4e-9,
    "B_2_1": -4e-9,
    "A_2_0": 2e-6,
}


@dataclass
class Shot:
    """A camera that looks somewhere at the sky: its own pixels, free of the package's solution."""

    attitude: Rotation
    site: Site
    mirrored: bool
    sip: bool
    utc: Array

    def pixels(self, icrs: Array) -> Array:
        """Where ICRS directions fall."""
        air = standard_atmosphere(self.site.height_m)
        seen = self.attitude.inv().apply(Sky(self.site, air).observed(icrs[None], self.utc)[0])
        flat = seen[:, :2] / seen[:, 2:] / (SCALE * ARCSEC) * [1.0 if self.mirrored else -1.0, 1.0]
        if not self.sip:
            return flat + MIDDLE
        u = flat.copy()
        for _ in range(50):  # the polynomial turns pixels into plane coordinates; here it is inverted
            u = flat - np.stack(
                [
                    -4e-9 * u[:, 0] ** 3 - 4e-9 * u[:, 0] * u[:, 1] ** 2 + 2e-6 * u[:, 0] ** 2,
                    -4e-9 * u[:, 1] ** 3 - 4e-9 * u[:, 0] ** 2 * u[:, 1],
                ],
                axis=-1,
            )
        return u + MIDDLE

    def solved(self, path: Any) -> View:
        """Write a linear solution at the sensor's middle, SIP terms as they are, and read it with the package."""
        air = standard_atmosphere(self.site.height_m)
        steps = np.array([[0.0, 0.0], [0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]]) * SCALE * ARCSEC
        steps[:, 0] *= 1.0 if self.mirrored else -1.0
        looks = self.attitude.apply(np.column_stack([steps, np.ones(5)]))
        looks /= np.linalg.norm(looks, axis=1, keepdims=True)
        sky = Sky(self.site, air).icrs(looks[None], self.utc)[0]
        ra, dec = erfa.c2s(sky[0])
        xi_eta = [erfa.tpxes(*erfa.c2s(v), ra, dec)[:2] for v in sky[1:]]
        right, up = (np.subtract(xi_eta[i], xi_eta[i + 1]) / DEG for i in (0, 2))
        cards = {
            "CTYPE1": "RA---TAN-SIP" if self.sip else "RA---TAN",
            "CTYPE2": "DEC--TAN-SIP" if self.sip else "DEC--TAN",
            "CRPIX1": MIDDLE[0] + 1,
            "CRPIX2": MIDDLE[1] + 1,
            "CRVAL1": ra / DEG,
            "CRVAL2": dec / DEG,
            "CD1_1": right[0],
            "CD2_1": right[1],
            "CD1_2": up[0],
            "CD2_2": up[1],
            "DATE-OBS": "2026-11-14T21:10:00",
        } | (SIP if self.sip else {})
        image = fits.PrimaryHDU(np.zeros((HEIGHT, WIDTH), np.int16))
        image.header.update(cards)
        image.writeto(path)
        return View(read_solution(path), (self.utc[0, 0], self.utc[0, 1]), Sky(self.site, air))


def shot(site: Site = NORTH, *, mirrored: bool = False, sip: bool = False, altitude: float = 50.0) -> Shot:
    azimuth = 40.0 if site is NORTH else 150.0
    look = enu(azimuth * DEG, altitude * DEG)
    across = np.cross(look, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    level = Rotation.from_matrix(np.stack([-across, np.cross(look, -across), look], axis=-1))
    return Shot(level * Rotation.from_euler("z", 25, degrees=True), site, mirrored, sip, EVENING)


def the_moves(
    error: tuple[float, float], site: Site, gain: float | None = None
) -> tuple[Array, tuple[Move, ...]]:
    alignment = given_alignment(error, Sky.over(site))
    knob = KnobSpec(gain, gain)
    return alignment.axis, correct_knobs(alignment, (knob, knob)).moves


def knobs(site: Site, error: tuple[float, float]) -> tuple[Rotation, Rotation]:
    """The altitude knob alone, then azimuth too, by the exact moves, composed by hand.

    East-North-Up: a swing that grows the azimuth is left-handed about the vertical. The altitude knob's level
    line lies across the axis' azimuth, to its right, and a right-handed turn about it raises the axis.
    """
    azimuth = (0.0 if site is NORTH else 180.0) + error[0] / 60
    right = enu((azimuth + 90) * DEG, 0.0)
    altitude = Rotation.from_rotvec(right * (-error[1] / 60 * DEG))
    swing = Rotation.from_rotvec([0.0, 0.0, error[0] / 60 * DEG])
    return altitude, swing * altitude


def lattice() -> Array:
    y, x = np.meshgrid(np.linspace(60, HEIGHT - 60, 5), np.linspace(60, WIDTH - 60, 7), indexing="ij")
    return np.stack([x.ravel(), y.ravel()], axis=-1)


@pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("sip", [False, True])
@pytest.mark.parametrize("error", [(23.4, -11.8), (-31.2, 17.6), (-4.0, -26.0)])
def test_turned_knobs_bring_the_star_to_the_mark(
    site: Site, mirrored: bool, sip: bool, error: tuple[float, float], tmp_path: Any
) -> None:
    before = shot(site, mirrored=mirrored, sip=sip)
    view = before.solved(tmp_path / "a.fits")
    axis, moves = the_moves(error, site)
    target = choose_star(view, lattice(), moves, axis, "a.fits", 20.0)
    assert target.knobs == ("altitude", "azimuth")
    assert target.reason is None
    assert target.part_on_sensor == (1.0, 1.0)
    star = view.solution.icrs_from_pixels(np.array([target.from_px]))
    assert np.hypot(*np.subtract(target.to_px, target.from_px)) > 50
    for turned, place in zip(knobs(site, error), (target.after_first_px, target.to_px), strict=True):
        after = Shot(turned * before.attitude, site, mirrored, sip, EVENING)
        assert np.hypot(*(after.pixels(star)[0] - np.array(place))) < 0.2


def test_star_stays_at_the_mark_while_the_mount_tracks(tmp_path: Any) -> None:
    error = (23.4, -11.8)
    before = shot()
    view = before.solved(tmp_path / "a.fits")
    axis, moves = the_moves(error, NORTH)
    target = choose_star(view, lattice(), moves, axis, "a.fits", 20.0)
    star = view.solution.icrs_from_pixels(np.array([target.from_px]))
    _, both = knobs(NORTH, error)
    seconds = 120.0
    # westward is left-handed about an axis towards the north
    tracked = Rotation.from_rotvec(-SIDEREAL * seconds * both.apply(axis)) * both * before.attitude
    later = EVENING + [0.0, seconds / 86400]
    place = Shot(tracked, NORTH, False, False, later).pixels(star)[0]
    # what refraction changes in two minutes at 50 deg of altitude is below a pixel of 5 arcsec
    assert np.hypot(*(place - np.array(target.to_px))) < 1.0


def test_easiest_star_that_stays_on_the_sensor_is_chosen(tmp_path: Any) -> None:
    view = shot().solved(tmp_path / "a.fits")
    axis, moves = the_moves((23.4, -11.8), NORTH)
    every = [choose_star(view, star[None], moves, axis, "a.fits", 20.0) for star in lattice()]
    leaving = [t.from_px for t in every if t.reason]
    staying = [t.from_px for t in every if not t.reason]
    assert leaving
    assert staying
    chosen = choose_star(view, np.array([*leaving, *staying]), moves, axis, "a.fits", 20.0)
    assert chosen.from_px == staying[0]


def test_star_that_leaves_gives_the_part_that_stays(tmp_path: Any) -> None:
    error = (300.0, 20.0)  # far beyond the sensor of 99 x 74 arcmin
    before = shot()
    view = before.solved(tmp_path / "a.fits")
    axis, moves = the_moves(error, NORTH, gain=50.0)
    target = choose_star(view, lattice(), moves, axis, "a.fits", 20.0)
    assert target.to_px is None
    assert target.after_first_px is not None
    first, last = target.part_on_sensor
    assert first == 1.0
    assert 0.1 < last < 0.9
    # the azimuth knob alone by that part of its move, after the altitude knob's whole move
    altitude, _ = knobs(NORTH, error)
    swing = Rotation.from_rotvec([0.0, 0.0, last * error[0] / 60 * DEG])
    star = view.solution.icrs_from_pixels(np.array([target.from_px]))
    place = Shot(swing * altitude * before.attitude, NORTH, False, False, EVENING).pixels(star)[0]
    assert np.hypot(*(place - np.array(target.part_px))) < 0.2
    x, y = target.part_px
    assert min(x + 0.5, y + 0.5, WIDTH - 0.5 - x, HEIGHT - 0.5 - y) == pytest.approx(20.0, abs=1e-6)
    assert target.reason is not None
    assert f"then turn azimuth by {last * 100:.0f} % of its move ({last * 6:.2f} turns)" in target.reason
    assert "take a frame" in target.reason
    # no other star of the lattice would stay for longer
    parts = [sum(choose_star(view, s[None], moves, axis, "a.fits", 20.0).part_on_sensor) for s in lattice()]
    assert sum(target.part_on_sensor) == pytest.approx(max(parts), abs=1 / 32)


def test_mark_behind_the_camera_is_none_and_no_number(tmp_path: Any) -> None:
    view = shot().solved(tmp_path / "a.fits")
    axis, moves = the_moves((150.0 * 60, 0.0), NORTH)
    target = choose_star(view, lattice(), moves, axis, "a.fits", 20.0)
    assert target.to_px is None
    assert np.isfinite(target.part_px).all()
    assert 0 < sum(target.part_on_sensor) < 2


class InvertedPoorly:
    """A solution whose inversion stops some way short, as an iteration does."""

    def __init__(self, solution: Solution, short_px: float) -> None:
        self._solution, self._short_px = solution, short_px
        self.width_px, self.height_px = solution.width_px, solution.height_px
        self.asked = 0

    def icrs_from_pixels(self, pixels: Array) -> Array:
        return self._solution.icrs_from_pixels(pixels)

    def pixels_from_icrs(self, directions: Array) -> Array:
        self.asked += len(directions)
        return self._solution.pixels_from_icrs(directions) + [self._short_px, 0.0]


@pytest.mark.parametrize(("short_px", "is_known"), [(0.04, True), (0.07, False)])
def test_place_is_known_to_a_twentieth_of_a_pixel_or_not(
    tmp_path: Any, short_px: float, is_known: bool
) -> None:
    """Stars are centred to about that; common practice, no source."""
    view = shot().solved(tmp_path / "a.fits")
    poor: Any = InvertedPoorly(view.solution, short_px)
    seen = view.observed(lattice())
    assert np.isfinite(replace(view, solution=poor).pixels(seen)).all() == is_known


def test_way_of_a_long_move_is_straight_between_its_steps(tmp_path: Any) -> None:
    """Where stars leave while an azimuth knob turns the mount by 10 deg, to half of what they are centred to."""
    error = (600.0, 0.0)
    before = shot()
    view = before.solved(tmp_path / "a.fits")
    axis, moves = the_moves(error, NORTH)
    off = []
    for begun in lattice():
        target = choose_star(view, begun[None], moves, axis, "a.fits", 20.0)
        star = view.solution.icrs_from_pixels(np.array([target.from_px]))
        swing = Rotation.from_rotvec([0.0, 0.0, target.part_on_sensor[1] * error[0] / 60 * DEG])
        place = Shot(swing * before.attitude, NORTH, False, False, EVENING).pixels(star)[0]
        off.append(np.hypot(*(place - np.array(target.part_px))))
    assert max(off) < 0.025, max(off)


def test_two_hundred_stars_are_followed_in_half_a_second(tmp_path: Any) -> None:
    """An inversion takes some 10 us; so many stars, all steps of both knobs, are below 30 000 of them."""
    view = shot().solved(tmp_path / "a.fits")
    counted: Any = InvertedPoorly(view.solution, 0.0)
    axis, moves = the_moves((23.4, -11.8), NORTH)
    choose_star(replace(view, solution=counted), np.tile(MIDDLE, (200, 1)), moves, axis, "a.fits", 20.0)
    assert counted.asked < 30_000


def test_distortion_that_cannot_be_inverted_gives_no_false_place(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a strong cubic the iteration diverges outside the sensor, and lands on it by chance."""
    terms = dict.fromkeys(("A_3_0", "A_1_2", "B_0_3", "B_2_1"), 3e-7)
    monkeypatch.setitem(globals(), "SIP", {"A_ORDER": 3, "B_ORDER": 3} | terms)
    view = shot(sip=True).solved(tmp_path / "a.fits")
    rng = np.random.default_rng(0)
    # u (1 + 3e-7 u^2) is 876 px in the plane for the corner's u of 750 px: all of these lie outside
    radius, angle = rng.uniform(1100, 3000, 400), rng.uniform(0, 2 * np.pi, 400)
    plane = np.stack([-radius * np.cos(angle), radius * np.sin(angle)], axis=-1) * SCALE * ARCSEC
    direction = shot().attitude.apply(np.column_stack([plane, np.ones(400)]))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    assert not view.contains(view.pixels(direction)).any()
