"""Solutions: where the sensor's points lie, and which solutions are refused."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.errors import FrameError
from polarcheck.frames import (
    SENSOR_NODES,
    SENSOR_WEIGHTS,
    node_pixels,
    nodes_from_nine,
    read_frame,
    read_solution,
)
from tests.fits_files import HEIGHT, SIP, SITE, SOLVED, TAN, TIME, WIDTH, write_compressed, write_image
from tests.helpers import ARCSEC, DEG, icrs, separation_arcsec


def test_nodes_have_the_moments_of_evenly_spread_stars() -> None:
    """Even density on [-1, 1] has moments 1 / (power + 1) of even powers, 0 of odd ones; of products their product."""
    x, y = SENSOR_NODES.T
    for i, j in np.ndindex(8, 8):
        even = (1 - i % 2) / (i + 1) * (1 - j % 2) / (j + 1)
        assert SENSOR_WEIGHTS @ (x**i * y**j) == pytest.approx(even, abs=1e-15), (i, j)
    assert not SENSOR_NODES.flags.writeable


def test_roll_of_a_solution_of_order_5_is_that_of_its_stars(tmp_path: Path) -> None:
    """Brute force: the roll of 1,350 noisy stars themselves, by scipy, beside that of the SIP solution fitted to them.

    Least squares keep a rotation of all stars whole, so both are the same but for what the grid of stars is not a
    continuum. Their difference may be a tenth of the noise of either; nodes of order 3 make it as large as that noise.
    """
    off, rolls = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        columns, rows = np.meshgrid((np.arange(45) + 0.5) / 45, (np.arange(30) + 0.5) / 30)
        pixels = np.stack([columns.ravel() * WIDTH, rows.ravel() * HEIGHT], axis=-1) - 0.5
        noise = rng.normal(size=pixels.shape) * 0.05
        path = write_image(tmp_path / f"{seed}.fits", {**SOLVED, **fifth_order(pixels, noise)})
        true, said = (gnomonic(pixels + moved) for moved in (0, noise))
        nodes = gnomonic(node_pixels(WIDTH, HEIGHT))
        stars = Rotation.align_vectors(said, true)[0].as_rotvec()
        solution = Rotation.align_vectors(read_frame(path).sky, nodes, SENSOR_WEIGHTS)[0].as_rotvec()
        off.append((solution - stars) @ icrs(100 * DEG, 40 * DEG))
        rolls.append(stars @ icrs(100 * DEG, 40 * DEG))
    assert np.std(off) < 0.1 * np.std(rolls)


def gnomonic(pixels: Any) -> Any:
    """Where pixels look without distortion, by TAN's own cards."""
    east_axis, pole = np.array([-np.sin(100 * DEG), np.cos(100 * DEG), 0]), icrs(100 * DEG, 40 * DEG)
    east, north = ((pixels + 1 - [30.5, 20.5]) * [-1, 1] * 3 * ARCSEC).T
    seen = pole + east[:, None] * east_axis + north[:, None] * np.cross(pole, east_axis)
    return seen / np.linalg.norm(seen, axis=-1, keepdims=True)


def fifth_order(pixels: Any, moved: Any) -> dict[str, Any]:
    """SIP cards that move stars as least squares of order 5 do."""
    powers = [(i, j) for i in range(6) for j in range(6 - i)]
    u, v = (pixels + 1 - [30.5, 20.5]).T
    terms, *_ = np.linalg.lstsq(np.stack([u**i * v**j for i, j in powers], axis=-1), moved, rcond=None)
    cards = {
        f"{axis}_{i}_{j}": term
        for axis, column in zip("AB", terms.T, strict=True)
        for (i, j), term in zip(powers, column, strict=True)
    }
    return {"CTYPE1": "RA---TAN-SIP", "CTYPE2": "DEC--TAN-SIP", "A_ORDER": 5, "B_ORDER": 5, **cards}


def test_nine_points_of_an_older_result_become_todays() -> None:
    """A camera that keeps straight lines straight, 40 by 27 deg; the nine by the rule of order 3 written out."""
    line = np.sqrt(0.6) * np.array([-1.0, 0.0, 1.0])
    old = np.stack(np.meshgrid(line, line), axis=-1).reshape(9, 2)
    then, now = (
        np.column_stack([xy * [0.36, 0.24], np.ones(len(xy))])
        @ Rotation.from_rotvec([0.3, -1.0, 2.0]).as_matrix()
        for xy in (old, SENSOR_NODES)
    )
    then, now = (v / np.linalg.norm(v, axis=-1, keepdims=True) for v in (then, now))
    np.testing.assert_allclose(nodes_from_nine(then), now, atol=1e-14)
    with pytest.raises(ValueError, match="no camera"):
        nodes_from_nine(then * np.array([1, 1, 1, 1, 1, 1, 1, 1, -1])[:, None])


def test_sky_of_the_nodes_follows_the_gnomonic_projection(tmp_path: Path) -> None:
    """Written out by hand: FITS pixel centres count from 1, the sensor's middle is (size + 1) / 2."""
    frame = read_frame(write_image(tmp_path / "a.fits", CRPIX1=10.0, CRPIX2=5.0))
    east_axis, pole = np.array([-np.sin(100 * DEG), np.cos(100 * DEG), 0]), icrs(100 * DEG, 40 * DEG)
    north_axis = np.cross(pole, east_axis)
    pixel = (np.array([WIDTH, HEIGHT]) + 1) / 2 + SENSOR_NODES * np.array([WIDTH, HEIGHT]) / 2
    scale = 3 * ARCSEC
    east, north = -(pixel[:, 0] - 10) * scale, (pixel[:, 1] - 5) * scale
    expected = pole + east[:, None] * east_axis + north[:, None] * north_axis
    assert separation_arcsec(frame.sky, expected).max() < 1e-6


@pytest.mark.parametrize("turn_deg", [0, 37, 180, 301])
@pytest.mark.parametrize("mirrored", [False, True])
def test_scale_and_parity_do_not_depend_on_the_camera_angle(
    tmp_path: Path, turn_deg: float, mirrored: bool
) -> None:
    turn = turn_deg * DEG
    flip = np.diag([1.0 if mirrored else -1.0, 1.0])
    cd = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ flip * 2.5 / 3600
    cards = {f"CD{i + 1}_{j + 1}": cd[i, j] for i in (0, 1) for j in (0, 1)}
    frame = read_frame(write_image(tmp_path / "a.fits", {**SOLVED, **cards}))
    assert frame.pixel_scale_arcsec == pytest.approx(2.5, rel=1e-6)
    assert frame.mirrored is mirrored


@pytest.mark.parametrize("cards", [TAN, SIP])
def test_pixels_and_sky_map_back_onto_each_other(tmp_path: Path, cards: dict[str, Any]) -> None:
    """To 1e-3 px: ten times the tolerance of the iteration that inverts the distortion."""
    solution = read_solution(write_image(tmp_path / "a.fits", {**TIME, **cards}))
    pixels = np.random.default_rng(2).uniform(0, [WIDTH - 1, HEIGHT - 1], (50, 2))
    np.testing.assert_allclose(
        solution.pixels_from_icrs(solution.icrs_from_pixels(pixels)), pixels, atol=1e-3
    )
    assert solution.wcs.pixel_shape == (WIDTH, HEIGHT)
    frame = read_frame(tmp_path / "a.fits")
    centre = solution.icrs_from_pixels(np.array([[(WIDTH - 1) / 2, (HEIGHT - 1) / 2]]))
    assert separation_arcsec(frame.centre, centre).max() < frame.pixel_scale_arcsec / 2


def test_tile_compressed_solution_knows_the_image_and_not_the_table(tmp_path: Path) -> None:
    solution = read_solution(write_compressed(tmp_path / "a.fits"))
    assert (solution.width_px, solution.height_px) == (WIDTH, HEIGHT)


def refusal(tmp_path: Path, **cards: Any) -> str:
    path = write_image(tmp_path / "a.fits", {**TIME, **SITE, **TAN, **cards})
    with pytest.raises(FrameError) as caught:
        read_frame(path)
    return caught.value.reason


@pytest.mark.parametrize(
    ("cards", "why"),
    [
        ({"CD1_1": 0.0}, "singular"),
        ({"CD1_2": 1.0, "CD2_1": 1.0, "CD1_1": 1.0, "CD2_2": 1.0}, "singular"),
        ({"CD1_1": -1e-8, "CD2_2": 1e-8}, "absurd"),
        ({"CD1_1": -2.0, "CD2_2": 2.0}, "absurd|no place"),
        ({"CRVAL1": None}, "lacks CRVAL1"),
        ({"CRVAL2": "forty"}, "CRVAL2 is no number"),
        ({"CRPIX1": "x"}, "CRPIX1 is no number"),
        ({"CD1_1": "x"}, "CD1_1 is no number"),
        ({"LONPOLE": "x"}, "LONPOLE is no number"),
        ({"CRVAL1": 1e308, "CRPIX1": 1e308}, "no place|absurd|damaged"),
        ({"CTYPE1": "RA---TAB", "CTYPE2": "DEC--TAB"}, "projection that is not read"),
        ({"CTYPE1": "RA---TNX", "CTYPE2": "DEC--TNX"}, "projection that is not read"),
        ({"CTYPE2": "DEC--SIN"}, "damaged|complete"),
        ({"CPDIS1": "LOOKUP"}, "distortion table"),
        ({"A_ORDER": 100000, "B_ORDER": 100000}, "impossible A_ORDER"),
        ({"A_ORDER": 2, "B_ORDER": "x"}, "impossible B_ORDER"),
        ({"A_ORDER": 2}, "damaged"),
        ({"RADESYS": "GAPPT"}, "RADESYS 'GAPPT'"),
        ({"RADESYS": "FK4", "EQUINOX": 1900.0}, "FK4 of equinox 1900"),
        ({"EQUINOX": "someday"}, "no year"),
        ({"EQUINOX": 20000.0}, "no year"),
        ({"CTYPE1": "ELON-TAN", "CTYPE2": "ELAT-TAN", "EQUINOX": 1950.0}, "ecliptic coordinates of FK4"),
        ({"CTYPE1": "GLON-TAN"}, "not solved"),
    ],
)
def test_unusable_solution_says_what_is_wrong(tmp_path: Path, cards: dict[str, Any], why: str) -> None:
    assert re.search(why, refusal(tmp_path, **cards))


def test_projection_without_sky_at_the_corner_is_refused(tmp_path: Path) -> None:
    """An orthographic sphere of 20 px radius does not fill 60 x 40 px."""
    scale = np.degrees(1 / 20)
    reason = refusal(tmp_path, CTYPE1="RA---SIN", CTYPE2="DEC--SIN", CD1_1=-scale, CD2_2=scale)
    assert "no place on the sky" in reason


@pytest.mark.parametrize(
    ("cards", "system", "codes"),
    [
        ({}, "ICRS", []),
        ({"EQUINOX": 2000.0}, "FK5 J2000", []),
        ({"EQUINOX": "J2000.0"}, "FK5 J2000", []),
        ({"EPOCH": 2000.0}, "FK5 J2000", []),
        ({"EQUINOX": 2026.9}, "FK5 J2026.9", []),
        ({"EQUINOX": 1950.0}, "FK4 B1950", []),
        ({"RADESYS": "ICRS", "EQUINOX": 2000.0}, "ICRS", []),
        ({"RADECSYS": "FK5", "EQUINOX": 2000.0}, "FK5 J2000", []),
        ({"RADESYS": "FK5"}, "FK5 J2000", []),
        ({"RADESYS": "FK4"}, "FK4 B1950", []),
        ({"RADESYS": "FK5", "EQUINOX": 1975.0}, "FK5 J1975", []),
        ({"RADESYS": "J2000"}, "FK5 J2000", []),
        ({"RADESYS": "FK4", "EQUINOX": 2000.0}, "FK5 J2000", ["system-contradiction"]),
        ({"RADESYS": "ICRS", "EQUINOX": 2026.9}, "ICRS", ["system-contradiction"]),
    ],
)
def test_system_follows_the_defaults_of_the_standard(
    tmp_path: Path, cards: dict[str, Any], system: str, codes: list[str]
) -> None:
    """FITS Standard 3.0, section 8.3; a camera's RADESYS can stay beside the EQUINOX that a solver wrote."""
    path = write_image(tmp_path / "a.fits", {**SOLVED, **cards})
    assert read_solution(path).system.name == system
    assert [notice.code for notice in read_frame(path).notices] == codes


def test_astropy_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Distortion without its suffix in CTYPE makes astropy log; old cards make it warn."""
    cards = {**SOLVED, **{k: v for k, v in SIP.items() if not k.startswith("CTYPE")}, "RADECSYS": "FK5"}
    read_frame(write_image(tmp_path / "a.fits", cards))
    assert capfd.readouterr() == ("", "")


def test_reading_frames_needs_none_of_the_heavy_machinery(tmp_path: Path) -> None:
    write_image(tmp_path / "a.fits", {**SOLVED, "EQUINOX": 2026.9})
    code = (
        "import sys\nfrom pathlib import Path\nimport polarcheck.frames\n"
        "assert not any(name.startswith('astropy') for name in sys.modules)\n"
        "polarcheck.frames.read_frame(Path(sys.argv[1]))\n"
        "heavy = {'scipy', 'photutils', 'matplotlib', 'pandas', 'PIL'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "a.fits")], capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == "[]"


@pytest.mark.parametrize("point", [".", ","])
@pytest.mark.parametrize("cards", [TAN, SIP])
def test_numbers_in_quotes_and_with_a_comma_are_the_same_solution(
    tmp_path: Path, cards: dict[str, Any], point: str
) -> None:
    """Real headers have them (common practice, no source); astropy.wcs reads neither."""
    quoted = {k: v if isinstance(v, str) else repr(v).replace(".", point) for k, v in cards.items()}
    plain = read_frame(write_image(tmp_path / "a.fits", {**TIME, **cards, "EQUINOX": 2000.0}))
    other = read_frame(write_image(tmp_path / "b.fits", {**TIME, **quoted, "EQUINOX": "2000.0"}))
    np.testing.assert_array_equal(other.sky, plain.sky)


def test_equinox_with_its_letter_is_read_as_before(tmp_path: Path) -> None:
    frame = read_frame(write_image(tmp_path / "a.fits", EQUINOX="J2000.0"))
    assert frame.sky.shape == (16, 3)


@pytest.mark.parametrize(
    ("arcsec", "read"),
    [(0.0007, False), (0.0014, True), (1400.0, True), (2500.0, False)],
)
def test_scale_is_one_that_some_camera_has(tmp_path: Path, arcsec: float, read: bool) -> None:
    """No optics resolve a thousandth of an arcsecond, and none show a sky of half a degree a pixel (no source)."""
    scale = {"CD1_1": -arcsec / 3600, "CD2_2": arcsec / 3600}
    if read:
        path = write_image(tmp_path / "a.fits", {**TIME, **SITE, **TAN, **scale})
        assert read_frame(path).pixel_scale_arcsec == pytest.approx(arcsec, rel=0.1)
    else:
        assert "absurd" in refusal(tmp_path, **scale)


@pytest.mark.parametrize(("order", "read"), [(8, True), (10, False)])
def test_order_of_sip_has_one_digit(tmp_path: Path, order: int, read: bool) -> None:
    """The convention goes to order 9 (ADASS XIV; from memory)."""
    cards = {**SIP, "A_ORDER": order}
    if read:
        assert read_frame(write_image(tmp_path / "a.fits", {**TIME, **SITE, **cards})).width_px == WIDTH
    else:
        assert "A_ORDER" in refusal(tmp_path, **cards)
