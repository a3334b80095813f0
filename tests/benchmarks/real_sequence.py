"""A real sequence tracked for seven hours without guiding: `tests/reference/data/tracked_15cm.ecsv` as frames.

What is known of it stands in the table's own comments; tests/reference/SOURCES.md names the source.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from astropy.io import ascii as tables
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck.frames import Frame, node_pixels
from polarcheck.site import Site
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_spherical

__all__ = ["real_frames", "write_real_frames"]

TABLE = Path(__file__).parents[1] / "reference" / "data" / "tracked_15cm.ecsv"
SITE = Site(31.68, -110.88, 1268.0, "table")
WIDTH, HEIGHT, SCALE_ARCSEC = 650, 500, 5.16


def real_frames() -> tuple[Frame, ...]:
    """The 142 frames, their sensor points by astropy's own WCS."""
    return tuple(_frame(i, row) for i, row in enumerate(tables.read(TABLE)))


def write_real_frames(folder: Path) -> None:
    """The same as files: their solutions, times and site in the headers of empty images."""
    folder.mkdir(parents=True)
    for i, row in enumerate(tables.read(TABLE)):
        header = _solution(row)
        header["DATE-OBS"], header["EXPTIME"] = str(row["utc_start"]), float(row["exposure_s"])
        header["SITELAT"], header["SITELONG"] = SITE.latitude_deg, SITE.longitude_deg
        header["SITEELEV"] = SITE.height_m
        image = np.zeros((HEIGHT, WIDTH), np.uint8)
        fits.PrimaryHDU(image, header).writeto(folder / f"tracked_{i + 1:03d}.fits")


def _solution(row: tables.Row) -> fits.Header:
    header = fits.Header()
    header["NAXIS"], header["NAXIS1"], header["NAXIS2"] = 2, WIDTH, HEIGHT
    header["CTYPE1"], header["CTYPE2"] = "RA---TAN-SIP", "DEC--TAN-SIP"
    header["A_ORDER"] = header["B_ORDER"] = 2
    for key in row.colnames[2:]:
        header[key] = float(row[key])
    return header


def _frame(i: int, row: tables.Row) -> Frame:
    header = _solution(row)
    pixels = node_pixels(WIDTH, HEIGHT)
    ra, dec = WCS(header).all_pix2world(pixels[:, 0], pixels[:, 1], 0)
    day, fraction = utc_from_iso(str(row["utc_start"]))
    return Frame(
        path=Path(f"tracked_{i + 1:03d}.fits"),
        name=f"tracked_{i + 1:03d}.fits",
        folder="",
        width_px=WIDTH,
        height_px=HEIGHT,
        sky=direction_from_spherical(np.radians(ra), np.radians(dec)),
        utc=(day, fraction + float(row["exposure_s"]) / 2 / 86400),
        exposure_s=float(row["exposure_s"]),
        pixel_scale_arcsec=SCALE_ARCSEC,
        mirrored=False,
        site=SITE,
        solution_file=None,
        notices=(),
    )
