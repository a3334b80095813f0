"""The usual solution put together of its parts: the same as astropy.wcs.WCS makes of the header, which is the reference."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from astropy import wcs as astropy_wcs
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck.frames import plain_wcs
from polarcheck.frames.plain_wcs import wcs_of

PIXELS = np.stack(np.meshgrid(np.linspace(-3, 1303, 5), np.linspace(0, 900, 4)), axis=-1).reshape(-1, 2)
GNOMONIC = {
    "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN",
    "CRVAL1": 31.25,
    "CRVAL2": 46.75,
    "CRPIX1": 650.5,
    "CRPIX2": 450.5,
    "CD1_1": -1.434e-3,
    "CD1_2": 4.6e-6,
    "CD2_1": -4.8e-6,
    "CD2_2": 1.434e-3,
}
WITH_SIP = {
    **GNOMONIC,
    "CTYPE1": "RA---TAN-SIP",
    "CTYPE2": "DEC--TAN-SIP",
    "A_ORDER": 3,
    "B_ORDER": 2,
    "A_2_0": 6.7e-7,
    "A_0_3": -2.0e-10,
    "B_1_1": -8.0e-7,
    "AP_ORDER": 2,
    "BP_ORDER": 2,
    "AP_1_1": 1e-7,
}
SCALED = {
    **{key: value for key, value in GNOMONIC.items() if not key.startswith("CD")},
    "CDELT1": -1.434e-3,
    "CDELT2": 1.434e-3,
    "PC1_1": 0.8,
    "PC1_2": -0.6,
    "PC2_1": 0.6,
    "PC2_2": 0.8,
}
TURNED = {**GNOMONIC, "CTYPE1": "DEC--TAN", "CTYPE2": "RA---TAN", "CRVAL1": 46.75, "CRVAL2": 31.25}
PLAIN = {
    "gnomonic": GNOMONIC,
    "with SIP": WITH_SIP,
    "CDELT and PC": SCALED,
    "declination first": TURNED,
    "pole and frame": {**GNOMONIC, "LONPOLE": 180.0, "LATPOLE": 46.75, "RADESYS": "FK5", "EQUINOX": 2000.0},
    "units": {**GNOMONIC, "CUNIT1": "deg", "CUNIT2": "deg"},
    "reference elsewhere": {**WITH_SIP, "CRPIX1": -8000.0, "CRPIX2": 12000.0},
}
OTHER = {
    "SIP not said": {**WITH_SIP, "CTYPE1": "RA---TAN", "CTYPE2": "DEC--TAN"},
    "SIP said and not there": {**GNOMONIC, "CTYPE1": "RA---TAN-SIP", "CTYPE2": "DEC--TAN-SIP"},
    "SIP of order 1": {**WITH_SIP, "A_ORDER": 1, "B_ORDER": 1},
    "older distortion": {**GNOMONIC, "PV1_1": 1.001, "PV1_7": 1e-4, "PV2_1": 0.999, "PV2_7": 1e-4},
    "another projection": {**GNOMONIC, "CTYPE1": "RA---ARC", "CTYPE2": "DEC--ARC"},
    "turned by CROTA": {**SCALED, "CROTA2": 20.0},
}


def cards_of(values: dict[str, Any]) -> dict[str, bytes]:
    """As `polarcheck.frames.headers` reads them."""
    return {card.keyword: str(card).encode("ascii") for card in fits.Header(values).cards}


def by_astropy(header: dict[str, bytes]) -> WCS:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return WCS(b"".join(header.values()))


@pytest.mark.parametrize("values", [*PLAIN.values(), *OTHER.values()], ids=[*PLAIN, *OTHER])
@pytest.mark.filterwarnings("ignore::astropy.wcs.FITSFixedWarning")
def test_every_pixel_stands_where_astropy_has_it(values: dict[str, Any]) -> None:
    header = cards_of(values)
    found, expected = wcs_of(header), by_astropy(header)
    np.testing.assert_array_equal(found.all_pix2world(PIXELS, 0), expected.all_pix2world(PIXELS, 0))
    sky = expected.all_pix2world(PIXELS, 0)
    np.testing.assert_array_equal(found.all_world2pix(sky, 0), expected.all_world2pix(sky, 0))
    assert (found.naxis, found.wcs.lng, found.wcs.lat) == (2, expected.wcs.lng, expected.wcs.lat)
    assert found.pixel_scale_matrix == pytest.approx(expected.pixel_scale_matrix, abs=0)


@pytest.mark.parametrize("seed", range(20))
def test_any_plain_header_reads_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi)
    matrix = rng.uniform(1e-5, 1e-2) * np.array([[-np.cos(turn), np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    values: dict[str, Any] = {**WITH_SIP, "CRVAL1": rng.uniform(0, 360), "CRVAL2": rng.uniform(-90, 90)}
    values |= {f"CD{i + 1}_{j + 1}": float(matrix[i, j]) for i in range(2) for j in range(2)}
    orders = {"A": int(rng.integers(2, 6)), "B": int(rng.integers(2, 6))}
    for letter, order in orders.items():
        values[f"{letter}_ORDER"] = order
        for p in range(order + 1):
            for q in range(order + 1 - p):
                if rng.random() < 0.8:
                    values[f"{letter}_{p}_{q}"] = float(rng.normal() * 1e-3 ** (p + q))
    header = cards_of(values)
    expected = by_astropy(header).all_pix2world(PIXELS, 0)
    np.testing.assert_array_equal(wcs_of(header).all_pix2world(PIXELS, 0), expected)


@pytest.mark.parametrize("name", PLAIN)
def test_what_solvers_write_takes_no_detour(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The header goes to astropy's parts; were it given to `WCS` as a whole, that would show here."""
    whole = []

    class Seen(WCS):
        def __init__(self, header: Any = None, **more: Any) -> None:
            whole.append(header)
            super().__init__(header, **more)

    monkeypatch.setattr(astropy_wcs, "WCS", Seen)
    plain_wcs.wcs_of(cards_of(PLAIN[name]))
    assert whole == [None]


@pytest.mark.filterwarnings("ignore::astropy.io.fits.verify.VerifyWarning")
def test_a_number_written_otherwise_goes_to_astropy_as_it_stands() -> None:
    """A small letter for the exponent, which the FITS Standard 4.0, section 4.2.4, does not have (from memory)."""
    header = cards_of(GNOMONIC)
    header["CRVAL1"] = b"CRVAL1  = 3.125e1".ljust(80)
    np.testing.assert_array_equal(
        wcs_of(header).all_pix2world(PIXELS, 0), by_astropy(cards_of(GNOMONIC)).all_pix2world(PIXELS, 0)
    )
