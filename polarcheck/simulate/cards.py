"""Header cards of a frame: when, where, and what it looks at."""

from __future__ import annotations

from typing import Any, Literal

import erfa
import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.simulate.mount import Camera, sensor_points
from polarcheck.site import Site
from polarcheck.vectors import Array, spherical_from_direction, unit

__all__ = ["Cards", "SiteKeywords", "site_cards", "time_cards", "wcs_cards"]

SiteKeywords = Literal["geodetic", "sexagesimal"]
Cards = list[tuple[str, Any, str]]
"""Keyword, value and comment of each card."""


def time_cards(middle: Array, exposure_s: float) -> Cards:
    """Return the header cards of an exposure's start, to a millisecond, and its length.

    Parameters
    ----------
    middle : ndarray, shape (2,)
        Two-part UTC Julian date of mid-exposure.
    exposure_s : float
        [s]
    """
    start = _iso(middle[0], middle[1] - exposure_s / 2 / 86400)
    return [
        ("DATE-OBS", start, "start of the exposure, UTC"),
        ("TIMESYS", "UTC", "time scale"),
        ("EXPTIME", exposure_s, "[s] length of the exposure"),
    ]


def site_cards(site: Site, keywords: SiteKeywords) -> Cards:
    """Return the header cards of the site, in decimal or in sexagesimal form."""
    if keywords == "geodetic":
        return [
            ("OBSGEO-B", round(site.latitude_deg, 9), "[deg] geodetic latitude, north positive"),
            ("OBSGEO-L", round(site.longitude_deg, 9), "[deg] longitude, east positive"),
            ("OBSGEO-H", site.height_m, "[m] height"),
        ]
    return [
        ("SITELAT", _sexagesimal(site.latitude_deg), "[dms] latitude, north positive"),
        ("SITELONG", _sexagesimal(site.longitude_deg), "[dms] longitude, east positive"),
        ("SITEELEV", site.height_m, "[m] height"),
    ]


def wcs_cards(points: Array, camera: Camera) -> Cards:
    """Return a gnomonic solution, fitted as a solver fits it.

    Parameters
    ----------
    points : ndarray, shape (16, 3)
        ICRS unit vectors that the sensor points see.
    camera : Camera
        Whose `sensor_points` they are.
    """
    centre = unit(SENSOR_WEIGHTS @ points)
    ra, dec = spherical_from_direction(centre)
    east = np.array([-np.sin(ra), np.cos(ra), 0.0])
    plane = points @ np.stack([east, np.cross(centre, east)], axis=-1) / (points @ centre)[:, None] / DEGREE
    offsets = sensor_points(camera) - camera.centre_px
    root = np.sqrt(SENSOR_WEIGHTS)[:, None]
    fit, *_ = np.linalg.lstsq(
        np.column_stack([offsets, np.ones(len(offsets))]) * root, plane * root, rcond=None
    )
    cd = fit[:2].T
    reference = np.asarray(camera.centre_px) + 1 - np.linalg.solve(cd, fit[2])
    return [
        ("WCSAXES", 2, ""),
        ("CTYPE1", "RA---TAN", "gnomonic projection"),
        ("CTYPE2", "DEC--TAN", "gnomonic projection"),
        ("CUNIT1", "deg", ""),
        ("CUNIT2", "deg", ""),
        ("CRVAL1", float(ra) / DEGREE, "[deg] right ascension of the reference pixel"),
        ("CRVAL2", float(dec) / DEGREE, "[deg] declination of the reference pixel"),
        ("CRPIX1", float(reference[0]), "[px] reference pixel, the first one is 1"),
        ("CRPIX2", float(reference[1]), "[px] reference pixel, the first one is 1"),
        *((f"CD{i + 1}_{j + 1}", float(cd[i, j]), "[deg/px]") for i in (0, 1) for j in (0, 1)),
        ("RADESYS", "ICRS", "celestial reference system"),
    ]


def _iso(day: float, fraction: float) -> str:
    # not the checked wrapper: it warns about years beyond the table of leap seconds
    year, month, date, time, _ = erfa.ufunc.d2dtf(b"UTC", 3, day, fraction)
    hour, minute, second, thousandth = time.item()
    return f"{year:04d}-{month:02d}-{date:02d}T{hour:02d}:{minute:02d}:{second:02d}.{thousandth:03d}"


def _sexagesimal(degrees: float) -> str:
    hundredths = round(abs(degrees) * 360_000)
    minutes, rest = divmod(hundredths, 6000)
    sign = "-" if degrees < 0 else "+"
    return f"{sign}{minutes // 60:02d} {minutes % 60:02d} {rest / 100:05.2f}"
