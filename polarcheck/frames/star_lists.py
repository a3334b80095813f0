"""What goes to a plate solver and comes from it, as FITS: star lists, pairs of stars, headers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from astropy.io import fits

from polarcheck.constants import DEGREE
from polarcheck.frames.cards import UnusableError
from polarcheck.frames.loading import careful
from polarcheck.vectors import Array, direction_from_spherical

__all__ = ["read_star_pairs", "write_engine_header", "write_star_list"]

_LARGEST_BYTES = 50_000_000


def write_star_list(path: Path, pixels: Array, flux: Array) -> None:
    """Write stars in the order in which a solver is to take them: columns X, Y (1-based, as FITS counts) and FLUX.

    Parameters
    ----------
    path : pathlib.Path
        A file of a temporary folder.
    pixels : ndarray, shape (n, 2)
        0-based. [px]
    flux : ndarray, shape (n,)
        [count]

    Raises
    ------
    OSError
        The disk is full, or the folder is gone.
    """
    columns = [
        fits.Column("X", "D", array=pixels[:, 0] + 1),
        fits.Column("Y", "D", array=pixels[:, 1] + 1),
        fits.Column("FLUX", "D", array=flux),
    ]
    fits.BinTableHDU.from_columns(columns).writeto(path)


def read_star_pairs(path: Path) -> tuple[Array, Array]:
    """Read which stars of a frame a solver matched with which of its catalogue.

    Parameters
    ----------
    path : pathlib.Path
        A table with the columns field_x, field_y (1-based), index_ra, index_dec (degrees).

    Returns
    -------
    ndarray, shape (n, 2)
        0-based pixels. [px]
    ndarray, shape (n, 3)
        Unit vectors.

    Raises
    ------
    FrameError
        It is no such table.
    """
    with careful(path):
        if path.stat().st_size > _LARGEST_BYTES:
            raise UnusableError("is too large for a table of matched stars")
        with fits.open(path, memmap=False) as content:
            rows = content[1].data
            x, y, ra, dec = (
                np.asarray(rows[name], dtype=float)
                for name in ("field_x", "field_y", "index_ra", "index_dec")
            )
    good = np.isfinite(x + y + ra + dec)
    sky = direction_from_spherical(ra[good] * DEGREE, dec[good] * DEGREE)
    return np.stack([x[good] - 1, y[good] - 1], axis=-1), sky


def write_engine_header(path: Path, fields: Mapping[str, str | float]) -> None:
    """Write a solution that a solver gave as keywords and values, as the header-only file that others write.

    Parameters
    ----------
    path : pathlib.Path
        A file of a temporary folder.
    fields : mapping
        Keyword to value; text or number.

    Raises
    ------
    ValueError
        A keyword or a value that no header can hold.
    OSError
        The disk is full, or the folder is gone.
    """
    fits.PrimaryHDU(None, fits.Header(list(fields.items()))).writeto(path)
