"""Plate solutions kept beside their frames: header-only FITS files, written whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from astropy.io import fits

from polarcheck.errors import InputError
from polarcheck.frames.companions import solution_beside, stem_of
from polarcheck.frames.plate import Plate
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.times import iso_from_utc
from polarcheck.vectors import Array
from polarcheck.writing import new_file

__all__ = ["MAKER", "SolutionNotes", "may_write_solution", "solution_path", "write_solution"]

MAKER = "polarcheck solve"
"""What the card ORIGIN of our solutions says, so that they are known again."""

_LARGEST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class SolutionNotes:
    """What a solution says of how it came to be.

    Attributes
    ----------
    engine : str
        Name of the solver.
    engine_plate : Plate or None
        The solver's own solution, its linear terms, where `write_solution` is given another one.
    matched_stars : int or None
        Stars that the solution rests on.
    residual_rms_px : float or None
        Of these stars, per coordinate. [px]
    history : tuple of str
        More, printable, a line each.
    utc : tuple of float or None
        Mid-exposure as the frame's header has it, so that the solution can be used without the frame. [d]
    site : Site or None
        Likewise.
    """

    engine: str
    engine_plate: Plate | None = None
    matched_stars: int | None = None
    residual_rms_px: float | None = None
    history: tuple[str, ...] = ()
    utc: tuple[float, float] | None = None
    site: Site | None = None


def solution_path(image: Path, into: Path | None = None) -> Path:
    """Return where a frame's solution is kept: beside it, or in a folder.

    Parameters
    ----------
    image : pathlib.Path
        The frame.
    into : pathlib.Path, optional
        The folder.

    Returns
    -------
    pathlib.Path
        The solution that already lies beside the frame, else NAME.wcs.
    """
    beside = image if into is None else into / image.name
    known = solution_beside(beside)
    if known is not None:
        return known
    stem = stem_of(image.name)
    return beside.with_name(image.name[: len(stem)] + ".wcs")


def may_write_solution(path: Path) -> bool:
    """Return whether nothing of the user's would be lost: nothing is there, or a solution that we made.

    Parameters
    ----------
    path : pathlib.Path
        Where a solution is to be written.

    Returns
    -------
    bool
    """
    if not path.exists() and not path.is_symlink():
        return True
    try:
        content = read_plain_file(path, _LARGEST_BYTES, "a solution")
    except InputError:
        return False
    cards = [content[i : i + 80] for i in range(0, min(len(content), 80 * 60), 80)]
    own = f"ORIGIN  = '{MAKER}".encode()
    return not content or (content.startswith(b"SIMPLE  =") and any(card.startswith(own) for card in cards))


def write_solution(path: Path, plate: Plate, notes: SolutionNotes, *, waits: bool = True) -> None:
    """Write a solution as a header-only FITS file, as solvers leave them.

    Parameters
    ----------
    path : pathlib.Path
        Where; what is there and was not made by us is left as it is.
    plate : Plate
    notes : SolutionNotes
        The engine's own solution becomes the alternate description ``A`` (FITS Standard 4.0, section 8.2.1; from
        memory), which readers pass over unless asked for it.
    waits : bool
        Whether to wait until it is on the disk; not for what is soon written again.

    Raises
    ------
    InputError
        It cannot be written, or a file that was not made by us stands there.
    """
    if not may_write_solution(path):
        raise InputError(
            f"{printable(path)}: is there already, was not made by polarcheck, and was left as it is"
        )
    header = fits.Header(
        [("SIMPLE", True), ("BITPIX", 8), ("NAXIS", 0), ("ORIGIN", MAKER, "plate solution, no image")]
    )
    header.extend(_cards(plate))
    if notes.engine_plate is not None:
        header.extend(_linear_cards(notes.engine_plate, "A"))
        header["WCSNAMEA"] = ("engine", "the solver's own, linear terms")
    _add_notes(header, notes)
    with new_file(path, waits=waits) as stream:
        stream.write(header.tostring(sep="", endcard=True, padding=True).encode("ascii"))


def _add_notes(header: Any, notes: SolutionNotes) -> None:
    header["SOLVER"] = (_ascii(notes.engine)[:40], "what recognised the stars")
    if notes.matched_stars is not None:
        header["NMATCHED"] = (notes.matched_stars, "stars that it rests on")
    if notes.residual_rms_px is not None:
        header["RMSPX"] = (round(notes.residual_rms_px, 4), "[pix] of these, per coordinate")
    if notes.utc is not None:
        header["DATE-AVG"] = (iso_from_utc(notes.utc).rstrip("Z"), "UTC, as the frame says")
    if notes.site is not None:
        header["OBSGEO-B"] = (notes.site.latitude_deg, "[deg] latitude, as the frame says")
        header["OBSGEO-L"] = (notes.site.longitude_deg, "[deg] longitude, east positive")
        header["OBSGEO-H"] = (notes.site.height_m, "[m] height")
    for line in notes.history:
        header.add_history(_ascii(line))


def _cards(plate: Plate) -> list[tuple[str, object, str]]:
    order = plate.forward.shape[-1] - 1
    back = plate.inverse.shape[-1] - 1
    return [
        *_linear_cards(plate, "", "-SIP"),
        ("IMAGEW", plate.width_px, "[pix] width of the image"),
        ("IMAGEH", plate.height_px, "[pix] height of the image"),
        *_distortion_cards(("A", "B"), plate.forward, 2, order),
        *_distortion_cards(("AP", "BP"), plate.inverse, 1, back),
    ]


def _linear_cards(plate: Plate, mark: str, kind: str = "") -> list[tuple[str, object, str]]:
    ra, dec = plate.place_deg
    x, y = (plate.width_px + 1) / 2, (plate.height_px + 1) / 2
    names = [(i, j) for i in (1, 2) for j in (1, 2)]
    return [
        (f"WCSAXES{mark}", 2, ""),
        (f"CTYPE1{mark}", f"RA---TAN{kind}", ""),
        (f"CTYPE2{mark}", f"DEC--TAN{kind}", ""),
        (f"RADESYS{mark}", "ICRS", ""),
        *((f"CUNIT{i}{mark}", "deg", "") for i in (1, 2)),
        (f"CRPIX1{mark}", x, "centre of the image"),
        (f"CRPIX2{mark}", y, "centre of the image"),
        (f"CRVAL1{mark}", ra, ""),
        (f"CRVAL2{mark}", dec, ""),
        *((f"CD{i}_{j}{mark}", float(plate.matrix_deg[i - 1, j - 1]), "") for i, j in names),
    ]


def _distortion_cards(
    names: Sequence[str], coefficients: Array, least: int, order: int
) -> list[tuple[str, object, str]]:
    cards: list[tuple[str, object, str]] = []
    for name, table in zip(names, coefficients, strict=True):
        cards.append((f"{name}_ORDER", order, ""))
        cards += [
            (f"{name}_{i}_{j}", float(table[i, j]), "")
            for i, j in product(range(order + 1), repeat=2)
            if least <= i + j <= order
        ]
    return cards


def _ascii(text: str) -> str:
    return printable(text).encode("ascii", "replace").decode("ascii")
