"""FITS files for tests: ordinary solved frames, and what can become of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from astropy.io import fits

WIDTH, HEIGHT = 60, 40
SCALE_DEG = 3.0 / 3600

TIME: dict[str, Any] = {"DATE-OBS": "2026-11-14T20:13:45.120", "EXPTIME": 10.0}
SITE: dict[str, Any] = {"OBSGEO-B": 47.3, "OBSGEO-L": 11.2, "OBSGEO-H": 900.0}
TAN: dict[str, Any] = {
    "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN",
    "CRVAL1": 100.0,
    "CRVAL2": 40.0,
    "CRPIX1": 30.5,
    "CRPIX2": 20.5,
    "CD1_1": -SCALE_DEG,
    "CD1_2": 0.0,
    "CD2_1": 0.0,
    "CD2_2": SCALE_DEG,
}
SIP: dict[str, Any] = {
    **TAN,
    "CTYPE1": "RA---TAN-SIP",
    "CTYPE2": "DEC--TAN-SIP",
    "A_ORDER": 2,
    "A_0_2": 1e-4,
    "A_1_1": -2e-4,
    "A_2_0": 3e-4,
    "B_ORDER": 2,
    "B_0_2": 2e-4,
    "B_1_1": 1e-4,
    "B_2_0": -1e-4,
}
SOLVED: dict[str, Any] = {**TIME, **SITE, **TAN}


def header(cards: dict[str, Any]) -> fits.Header:
    """Return a header; None leaves a card out, a tuple gives value and comment."""
    made = fits.Header()
    for keyword, value in cards.items():
        if value is not None:
            made[keyword] = value
    return made


def raw_cards(cards: dict[str, Any]) -> dict[str, bytes]:
    """Return cards as astropy writes them, keyword to 80 bytes."""
    return {card.keyword: str(card).encode("ascii") for card in header(cards).cards}


def write_image(
    path: Path, cards: dict[str, Any] | None = None, shape: tuple[int, ...] = (HEIGHT, WIDTH), **changes: Any
) -> Path:
    """Write an image of zeros with `cards` (an ordinary solved frame if None) changed by `changes`."""
    cards = {**(SOLVED if cards is None else cards), **{k.replace("__", "-"): v for k, v in changes.items()}}
    hdu = fits.PrimaryHDU(np.zeros(shape, np.int16), header(cards))
    with path.open("wb") as file:
        hdu.writeto(file)
    return path


def write_solution(
    path: Path, cards: dict[str, Any] | None = None, size: tuple[int, int] | None = (WIDTH, HEIGHT)
) -> Path:
    """Write a header-only solution, as a solver leaves it: no time, no place, no NAXIS1."""
    more = {} if size is None else {"IMAGEW": size[0], "IMAGEH": size[1]}
    hdu = fits.PrimaryHDU(
        None, header({"WCSAXES": 2, **(TAN if cards is None else cards), "EQUINOX": 2000.0, **more})
    )
    with path.open("wb") as file:
        hdu.writeto(file)
    return path


def write_compressed(
    path: Path, cards: dict[str, Any] | None = None, shape: tuple[int, ...] = (HEIGHT, WIDTH)
) -> Path:
    """Write a tile-compressed image in the first extension."""
    rng = np.random.default_rng(1)
    data = rng.integers(100, 120, shape).astype(np.int16)
    hdus = fits.HDUList(
        [
            fits.PrimaryHDU(),
            fits.CompImageHDU(data, header(SOLVED if cards is None else cards), compression_type="RICE_1"),
        ]
    )
    with path.open("wb") as file:
        hdus.writeto(file)
    return path
