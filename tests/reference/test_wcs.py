"""Where pixels lie on the sky, against the FITS Standard, published positions and astropy's own reading.

Basis of each number is said beside it. Tolerances are on the sky, in arcseconds.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.coordinates import FK4, FK5, BarycentricMeanEcliptic, Galactic, SkyCoord
from astropy.io import fits
from astropy.time import Time
from astropy.wcs import WCS, FITSFixedWarning

from polarcheck.frames import SENSOR_NODES, read_frame, read_solution
from polarcheck.frames.cards import Cards
from polarcheck.frames.systems import celestial_system
from tests.fits_files import HEIGHT, SIP, SOLVED, TAN, TIME, WIDTH, raw_cards, write_image
from tests.helpers import DEG, HOUR, icrs, separation_arcsec

ROUNDING_ARCSEC = 1e-6
"""Double precision through two projections; a thousandth of a milliarcsecond."""

# 1000 x 800 px, 1.5 arcsec/px, FITS Standard 3.0, section 8.2 (read); values by astropy 8.0.2
WIDE: dict[str, Any] = {
    "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN",
    "CRVAL1": 100.0,
    "CRVAL2": 40.0,
    "CRPIX1": 500.5,
    "CRPIX2": 400.5,
    "CDELT1": -1.5 / 3600,
    "CDELT2": 1.5 / 3600,
}


def first_pixel_deg(tmp_path: Path, **cards: Any) -> tuple[float, float]:
    solution = read_solution(write_image(tmp_path / "a.fits", {**TIME, **WIDE, **cards}))
    x, y, z = solution.icrs_from_pixels(np.zeros((1, 2)))[0]
    return float(np.degrees(np.arctan2(y, x))), float(np.degrees(np.arcsin(z)))


def test_crota2_turns_the_sky_as_the_standard_says(tmp_path: Path) -> None:
    """CROTA2 = 30 deg: FITS pixel (1, 1) at 100.343731, 39.959398 (astropy; last digit 0.004 arcsec)."""
    assert first_pixel_deg(tmp_path, CROTA2=30.0) == pytest.approx((100.343731, 39.959398), abs=1e-6)


def test_pc_matrix_is_not_taken_for_crota(tmp_path: Path) -> None:
    """PC = (cos, -sin; sin, cos) of 30 deg: FITS pixel (1, 1) at 100.126182, 39.751714 (astropy)."""
    c, s = np.cos(30 * DEG), np.sin(30 * DEG)
    cards = {"PC1_1": c, "PC1_2": -s, "PC2_1": s, "PC2_2": c}
    assert first_pixel_deg(tmp_path, **cards) == pytest.approx((100.126182, 39.751714), abs=1e-6)


def test_crota2_equals_its_cd_matrix(tmp_path: Path) -> None:
    """CROTA2 = 30 deg with CDELT1 < 0: CD1_2 = CD2_1 = -2.0833333e-4 (Paper I, section 2.1.2, read)."""
    c, s = np.cos(30 * DEG) * 1.5 / 3600, 2.0833333333e-4
    cd = {"CD1_1": -c, "CD1_2": -s, "CD2_1": -s, "CD2_2": c, "CDELT1": None, "CDELT2": None}
    np.testing.assert_allclose(
        first_pixel_deg(tmp_path, **cd), first_pixel_deg(tmp_path, CROTA2=30.0), atol=1e-9
    )


def test_cd_wins_over_cdelt_and_crota_beside_it(tmp_path: Path) -> None:
    """Paper I, section 2.1.2 (read): with CD, readers ignore CDELT and CROTA."""
    cd = {"CD1_1": -1.5 / 3600, "CD2_2": 1.5 / 3600}
    plain = first_pixel_deg(tmp_path, CDELT1=None, CDELT2=None, **cd)
    assert first_pixel_deg(tmp_path, CROTA2=77.0, **cd) == pytest.approx(plain, abs=1e-12)


def test_first_pixel_centre_is_one(tmp_path: Path) -> None:
    """CRPIX counts the first pixel's centre as 1 (from memory: FITS Standard, section 8.2)."""
    assert first_pixel_deg(tmp_path, CRPIX1=1.0, CRPIX2=1.0) == pytest.approx((100.0, 40.0), abs=1e-12)


def test_missing_crpix_is_zero(tmp_path: Path) -> None:
    """FITS Standard 3.0, section 8.2 (read): the default of CRPIX is 0."""
    missing = first_pixel_deg(tmp_path, CRPIX1=None, CRPIX2=None)
    assert missing == pytest.approx(first_pixel_deg(tmp_path, CRPIX1=0.0, CRPIX2=0.0), abs=1e-12)


def test_icrs_and_fk5_differ_by_22_milliarcseconds_near_the_pole() -> None:
    """Frame bias near Polaris: 22 mas (astropy; the IAU 2000 offsets, from memory)."""
    polaris = icrs(np.array([37.954515 * DEG]), np.array([89.2641095 * DEG]))
    system, _ = celestial_system("RA", Cards(raw_cards({"RADESYS": "FK5"})), None)
    assert separation_arcsec(system.to_icrs(polaris), polaris)[0] == pytest.approx(0.022, abs=0.001)


def test_equinox_of_date_is_precessed_as_in_the_textbook() -> None:
    """Meeus, Astronomical Algorithms (2nd ed.), example 21.b, pp. 134-135, theta Persei to 2028-11-13.19.

    Place of date 2h46m11.331s, +49d20'54.54" (read in the tests of a public library); J2000 with proper
    motion 41.054063, +49.227750 deg (from memory). 0.05 arcsec is ten times the rounding of the book.
    """
    equinox = Time(2462088.69, format="jd").jyear
    of_date = icrs(
        np.array([(2 + 46 / 60 + 11.331 / 3600) * HOUR]), np.array([(49 + 20 / 60 + 54.54 / 3600) * DEG])
    )
    system, _ = celestial_system("RA", Cards(raw_cards({"EQUINOX": equinox})), None)
    j2000, _ = celestial_system("RA", Cards(raw_cards({"EQUINOX": 2000.0})), None)
    found = j2000.from_icrs(system.to_icrs(of_date))
    expected = icrs(np.array([41.054063 * DEG]), np.array([49.227750 * DEG]))
    assert separation_arcsec(found, expected)[0] < 0.05


def astropy_sky(path: Path, frame: Any = None) -> np.ndarray[Any, Any]:
    """ICRS vectors of the nodes by astropy alone: its header, its WCS, its coordinates."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FITSFixedWarning)
        wcs = WCS(fits.getheader(path)).celestial
    x, y = (SENSOR_NODES * [WIDTH / 2, HEIGHT / 2] + [(WIDTH - 1) / 2, (HEIGHT - 1) / 2]).T
    if frame is None:
        sky = wcs.pixel_to_world(x, y)
    else:
        world = wcs.all_pix2world(x, y, 0)
        sky = SkyCoord(world[wcs.wcs.lng], world[wcs.wcs.lat], unit="deg", frame=frame)
    return np.asarray(sky.icrs.cartesian.xyz.value.T)


ROTATED = {"CD1_1": -7e-4, "CD1_2": 5e-4, "CD2_1": 5e-4, "CD2_2": 7e-4}
SWAPPED = {
    "CTYPE1": "DEC--TAN",
    "CTYPE2": "RA---TAN",
    "CRVAL1": 40.0,
    "CRVAL2": 100.0,
    "CD1_1": 0.0,
    "CD1_2": 8e-4,
    "CD2_1": -8e-4,
    "CD2_2": 0.0,
}
TPV = {
    "CTYPE1": "RA---TPV",
    "CTYPE2": "DEC--TPV",
    "PV1_0": 1e-5,
    "PV1_1": 1.01,
    "PV1_4": 2e-2,
    "PV1_7": 3e-2,
    "PV2_0": -1e-5,
    "PV2_1": 0.99,
    "PV2_4": 1e-2,
    "PV2_10": 2e-2,
}
POLE = {"CRVAL1": 30.0, "CRVAL2": 90.0}


@pytest.mark.parametrize(
    "cards",
    [
        TAN,
        {**TAN, **ROTATED},
        {**TAN, "CD1_1": 8e-4},
        SIP,
        {**SIP, "AP_ORDER": 2, "AP_2_0": -3e-4, "BP_ORDER": 2, "BP_0_2": -2e-4},
        {**TAN, **TPV},
        {**TAN, **SWAPPED},
        {**TAN, **POLE},
        {**TAN, **POLE, "LONPOLE": 180.0},
        {**TAN, "LONPOLE": 150.0},
        {**TAN, "CTYPE1": "RA---ARC", "CTYPE2": "DEC--ARC"},
        {**TAN, "CTYPE1": "RA---ZEA", "CTYPE2": "DEC--ZEA"},
        {**TAN, "CUNIT1": "deg", "CUNIT2": "deg", "RADESYS": "ICRS"},
        {**TAN, "RADESYS": "FK5"},
        {**TAN, "EQUINOX": 2000.0},
        {
            **{k: v for k, v in TAN.items() if not k.startswith("CD")},
            "CDELT1": -8e-4,
            "CDELT2": 8e-4,
            "CROTA2": 33.0,
        },
    ],
    ids=lambda cards: "-".join(sorted({k for k, v in cards.items() if TAN.get(k) != v})[:5]) or "TAN",
)
def test_every_form_of_solution_agrees_with_astropy(tmp_path: Path, cards: dict[str, Any]) -> None:
    path = write_image(tmp_path / "a.fits", {**TIME, **cards})
    assert separation_arcsec(read_frame(path).sky, astropy_sky(path)).max() < ROUNDING_ARCSEC


@pytest.mark.parametrize(
    ("cards", "frame", "tolerance_arcsec"),
    [
        ({"RADESYS": "FK5", "EQUINOX": 2000.0}, FK5(), ROUNDING_ARCSEC),
        # FK5 is defined with the precession of IAU 1976 (ERFA pmat76); astropy precesses it by IAU 2006
        ({"EQUINOX": 2026.9}, FK5(equinox="J2026.9"), 0.1),
        ({"RADESYS": "FK5", "EQUINOX": 1975.0}, FK5(equinox="J1975"), 0.1),
        ({"RADESYS": "ICRS", "EQUINOX": 2000.0}, "icrs", ROUNDING_ARCSEC),
        # FK4 by ERFA's fk45z (Aoki et al. 1983); astropy takes the same for rotation, E-terms and drift apart
        (
            {"RADESYS": "FK4", "EQUINOX": 1950.0},
            FK4(equinox="B1950", obstime=Time("2026-11-14T20:13:50")),
            0.02,
        ),
        ({"EQUINOX": 1950.0}, FK4(equinox="B1950", obstime=Time("2026-11-14T20:13:50")), 0.02),
        # ERFA ties galactic coordinates to ICRS (Hipparcos, vol. 1), astropy to FK5: 0.025 arcsec apart
        ({"CTYPE1": "GLON-TAN", "CTYPE2": "GLAT-TAN"}, Galactic(), 0.03),
        (
            {"CTYPE1": "ELON-TAN", "CTYPE2": "ELAT-TAN"},
            BarycentricMeanEcliptic(equinox="J2000"),
            ROUNDING_ARCSEC,
        ),
    ],
)
def test_every_celestial_system_agrees_with_astropy(
    tmp_path: Path, cards: dict[str, Any], frame: Any, tolerance_arcsec: float
) -> None:
    path = write_image(tmp_path / "a.fits", {**SOLVED, **cards})
    assert separation_arcsec(read_frame(path).sky, astropy_sky(path, frame)).max() < tolerance_arcsec
    solution = read_solution(path)
    pixels = np.array([[3.0, 4.0], [50.0, 30.0]])
    np.testing.assert_allclose(
        solution.pixels_from_icrs(solution.icrs_from_pixels(pixels)), pixels, atol=1e-3
    )


def test_lonpole_defaults_to_0_at_the_pole_and_180_elsewhere(tmp_path: Path) -> None:
    """Calabretta & Greisen 2002 (from memory): zenithal default 180 deg, but 0 when CRVAL2 = 90."""

    def sky(**cards: Any) -> np.ndarray[Any, Any]:
        return read_frame(write_image(tmp_path / "a.fits", {**SOLVED, **cards})).sky

    np.testing.assert_array_equal(sky(**POLE), sky(**POLE, LONPOLE=0.0))
    np.testing.assert_array_equal(sky(), sky(LONPOLE=180.0))
    assert separation_arcsec(sky(**POLE), sky(**POLE, LONPOLE=180.0)).max() > 10
