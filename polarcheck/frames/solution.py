"""A frame's plate solution: pixels to sky and back, read by astropy.wcs."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import erfa
import numpy as np

from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.errors import Notice
from polarcheck.frames.cards import Cards, UnusableError
from polarcheck.frames.headers import Hdu
from polarcheck.frames.plain_wcs import wcs_of
from polarcheck.frames.sensor_nodes import node_pixels
from polarcheck.frames.systems import SkySystem, celestial_system, longitude_name
from polarcheck.printable import printable
from polarcheck.vectors import Array

__all__ = ["Solution", "has_solution", "read_wcs"]


_FINEST_ARCSEC, _COARSEST_ARCSEC = 0.001, 1800.0
_HIGHEST_SIP_ORDER = 9
_SINGULAR = "its solution is singular: CD, or PC with CDELT, squeezes the image to a line; solve it again"
_NUMBERS = re.compile(r"(?:CRPIX|CRVAL|CDELT|CROTA|CD|PC|PV|LONPOLE|LATPOLE)")
# -TAB and the other table or private forms need more than the header, so they are no member here
_PROJECTION = re.compile(
    "AZP|SZP|TAN|STG|SIN|ARC|ZPN|ZEA|AIR|CYP|CEA|CAR|MER|SFL|PAR|MOL|AIT"
    "|COP|COE|COD|COO|BON|PCO|TSC|CSC|QSC|HPX|XPH|TPV"
)


@dataclass(frozen=True, slots=True)
class Solution:
    """Maps pixels to ICRS directions and back.

    Attributes
    ----------
    wcs : astropy.wcs.WCS
        Two celestial axes in the header's own system and order, ``pixel_shape`` set.
    system : SkySystem
        The header's celestial system.
    width_px, height_px : int
        Size of the image. [px]
    notices : tuple of Notice
        What is doubtful about it.
    """

    wcs: Any
    system: SkySystem
    width_px: int
    height_px: int
    notices: tuple[Notice, ...] = ()

    @property
    def matrix_deg(self) -> tuple[float, float, float, float]:
        """Its linear terms, two rows. [deg/px]"""
        a, b, c, d = (float(term) for term in np.asarray(self.wcs.pixel_scale_matrix).ravel())
        return a, b, c, d

    def icrs_from_pixels(self, pixels: Array) -> Array:
        """Carry 0-based pixel coordinates, (n, 2), to ICRS unit vectors, (n, 3), distortion included."""
        world = np.asarray(self.wcs.all_pix2world(pixels, 0)) * DEGREE
        lng, lat = self.wcs.wcs.lng, self.wcs.wcs.lat
        return self.system.to_icrs(erfa.s2c(world[:, lng], world[:, lat]))

    def pixels_from_icrs(self, directions: Array) -> Array:
        """Carry ICRS unit vectors, (n, 3), to 0-based pixel coordinates, (n, 2); NaN where there is none.

        The distortion is inverted by iteration to 1e-4 px, so no inverse terms are needed.
        """
        lon, lat = erfa.c2s(self.system.from_icrs(np.asarray(directions, dtype=float)))
        world = np.empty((len(lon), 2))
        world[:, self.wcs.wcs.lng] = np.degrees(lon) % 360
        world[:, self.wcs.wcs.lat] = np.degrees(lat)
        return np.asarray(self.wcs.all_world2pix(world, 0, quiet=True))

    def sampled(self) -> tuple[Array, float, bool]:
        """Return the sky at the sensor's nodes, (16, 3), the central pixel scale [arcsec], and the parity.

        Raises
        ------
        UnusableError
            The solution gives no sky there, or an absurd scale.
        """
        centre = np.array([self.width_px - 1, self.height_px - 1]) / 2
        steps = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])
        places = np.vstack([node_pixels(self.width_px, self.height_px), centre + steps])
        sky, (right, left, up, down) = np.split(self.icrs_from_pixels(places), [-len(steps)])
        if not np.isfinite([*sky, right, left, up, down]).all():
            raise UnusableError(
                "its solution gives no place on the sky for some of the sensor; solve it again"
            )
        area = float(np.dot(right + left, np.cross(right - left, up - down))) / 2
        scale = math.sqrt(abs(area)) / ARCSEC
        if not _FINEST_ARCSEC <= scale <= _COARSEST_ARCSEC:
            raise UnusableError(f"its solution is absurd: {scale:.3g} arcsec per pixel; solve it again")
        return sky, scale, area > 0


def has_solution(hdu: Hdu) -> bool:
    """Return whether the header names celestial axes."""
    return any(longitude_name(pair) for pair in _axis_pairs(hdu))


def _axis_pairs(hdu: Hdu) -> list[tuple[str, str]]:
    cards = Cards(hdu.wcs_header, hdu.header)
    names = [cards.text(f"CTYPE{axis}") or "" for axis in range(1, 10) if f"CTYPE{axis}" in cards]
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def read_wcs(hdu: Hdu, size_px: tuple[int, int], besselian_epoch: float | None) -> Solution:
    """Read the solution in a header.

    Parameters
    ----------
    hdu : Hdu
        A header that `has_solution`.
    size_px : tuple of int
        Width and height of the image. [px]
    besselian_epoch : float or None
        Time of the exposure, for FK4. [yr]

    Returns
    -------
    Solution

    Raises
    ------
    UnusableError
        The solution is damaged, or of a kind that is not read.
    """
    cards = Cards(hdu.wcs_header)
    ctypes = (cards.text("CTYPE1") or "", cards.text("CTYPE2") or "")
    longitude = longitude_name(ctypes)
    if longitude is None:
        raise UnusableError("the celestial axes of its header are not the first two; such cubes are not read")
    _check_shape(hdu.shape)
    _check_kind(ctypes, Cards(hdu.header))
    _check_numbers(cards, hdu.wcs_header)
    system, notices = celestial_system(longitude, cards, besselian_epoch)
    wcs = wcs_of(hdu.wcs_header)
    if wcs.naxis != 2 or wcs.wcs.lng < 0 or wcs.wcs.lat < 0:
        raise UnusableError("its header holds no complete pair of celestial axes; solve it again")
    matrix = wcs.pixel_scale_matrix
    if not np.isfinite(matrix).all() or np.linalg.det(matrix) == 0:
        raise UnusableError(_SINGULAR)
    wcs.pixel_shape = size_px
    return Solution(wcs, system, *size_px, notices)


def _check_shape(shape: tuple[int, ...]) -> None:
    more = [planes for planes in shape[2:] if planes != 1]
    if more and more != [3]:
        raise UnusableError(
            f"is a cube of {' x '.join(map(str, shape[:5]))}; only one image, or one in 3 colours, is read"
        )


def _check_kind(ctypes: tuple[str, str], other: Cards) -> None:
    for ctype in ctypes:
        if not _PROJECTION.fullmatch(ctype[5:8]):
            raise UnusableError(
                f"its solution has CTYPE '{printable(ctype, 20)}', a projection that is not read"
            )
    for keyword in ("CPDIS1", "CPDIS2", "CQDIS1", "CQDIS2", "D2IMDIS1", "D2IMDIS2", "AXISCORR"):
        if keyword in other:
            raise UnusableError(
                f"its solution has a distortion table ({keyword}), which is not read; use SIP or TPV"
            )


def _check_numbers(cards: Cards, header: Any) -> None:
    """Refuse what astropy would silently replace by a default, or answer with huge arrays."""
    for keyword in ("CRVAL1", "CRVAL2"):
        if cards.value(keyword) is None:
            raise UnusableError(f"its solution lacks {keyword}; solve it again")
    for keyword in header:
        if _NUMBERS.match(keyword) and not isinstance(cards.value(keyword), (int, float)):
            raise UnusableError(f"its header card {keyword} is no number; solve it again")
    if any(keyword.startswith("CD") and "_" in keyword for keyword in header):
        cd = [cards.number(f"CD{pair}") or 0.0 for pair in ("1_1", "2_2", "1_2", "2_1")]
        if cd[0] * cd[1] == cd[2] * cd[3]:  # astropy would mend a row of zeros into a scale of 1 deg/px
            raise UnusableError(_SINGULAR)
    for keyword in ("A_ORDER", "B_ORDER", "AP_ORDER", "BP_ORDER"):
        order = cards.value(keyword) if keyword in cards else 0
        if not isinstance(order, int) or not 0 <= order <= _HIGHEST_SIP_ORDER:
            raise UnusableError(f"its SIP distortion has an impossible {keyword}; solve it again")
