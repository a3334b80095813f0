"""A plate solution of our own: a tangent plane with polynomial distortion, fitted to pixels whose place is known.

The pixels' places come from anywhere: another program's solution, or a fitted camera under a real sky. The form is the
one that nearly every program reads: TAN with SIP.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, spherical_from_direction, unit

__all__ = ["HIGHEST_ORDER", "Plate", "fit_plate", "sensor_grid"]

HIGHEST_ORDER = 5
"""Of the distortion that a plate holds."""

_CLOSE_PX = 0.005  # what a higher order must be better than to be worth it


@dataclass(frozen=True, slots=True)
class Plate:
    """A tangent plane with polynomial distortion, as SIP has it.

    Attributes
    ----------
    width_px, height_px : int
        Size of the image; the reference pixel is its centre. [px]
    place_deg : tuple of float
        ICRS right ascension and declination of the centre. [deg]
    matrix_deg : ndarray, shape (2, 2)
        Linear terms. [deg/px]
    forward, inverse : ndarray, shape (2, k + 1, k + 1)
        Coefficients of u^i v^j that are added to u and to v, on the way to the sky and back; pixels from the centre.

    References
    ----------
    .. [1] D. L. Shupe et al., "The SIP Convention for Representing Distortion in FITS Image Headers", ADASS XIV (2005)
       (from memory).
    """

    width_px: int
    height_px: int
    place_deg: tuple[float, float]
    matrix_deg: Array
    forward: Array
    inverse: Array


def sensor_grid(width_px: int, height_px: int) -> Array:
    """Return 0-based pixels spread over a sensor, edges included, shape (n, 2).

    Parameters
    ----------
    width_px, height_px : int
        Size of the image. [px]

    Returns
    -------
    ndarray, shape (n, 2)
    """
    along = 2 * (HIGHEST_ORDER + 1)  # twice as many as a polynomial along a side has coefficients
    x, y = np.linspace(0, width_px - 1, along), np.linspace(0, height_px - 1, along)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def fit_plate(grid: Array, sky: Array, width_px: int, height_px: int) -> Plate:
    """Fit a plate to pixels and their places on the sky.

    Parameters
    ----------
    grid : ndarray, shape (n, 2)
        0-based pixels, as `sensor_grid` gives. [px]
    sky : ndarray, shape (n, 3)
        ICRS unit vectors, within less than a quarter of the sky of the centre.
    width_px, height_px : int
        Size of the image. [px]

    Returns
    -------
    Plate
        Of the lowest order, 2 at least, that is good to 0.005 px, or of order 5.
    """
    from_centre = grid - np.array([width_px - 1, height_px - 1]) / 2
    centre = _centre(from_centre, sky)
    plane = _tangent_plane(sky, centre)
    centre, plane = _recentred(from_centre, sky, centre, plane)
    for order in range(2, HIGHEST_ORDER + 1):
        matrix, forward, rest_px = _fitted(from_centre, plane, order)
        if rest_px < _CLOSE_PX:
            break
    moved = from_centre + _distortion(from_centre, forward)
    inverse = _polynomial(moved, from_centre - moved, order + 1)
    lon, lat = (float(angle) / DEGREE for angle in spherical_from_direction(centre))
    return Plate(width_px, height_px, (lon % 360, lat), matrix, forward, inverse)


def _centre(from_centre: Array, sky: Array) -> Array:
    """Place of the centre, roughly: by a plane through the directions."""
    terms = np.column_stack([np.ones(len(sky)), from_centre])
    return unit(np.linalg.lstsq(terms, sky, rcond=None)[0][0])


def _recentred(from_centre: Array, sky: Array, centre: Array, plane: Array) -> tuple[Array, Array]:
    """Move the point of tangency until it is where the centre of the sensor looks."""
    for _ in range(4):
        shift = _polynomial(from_centre, plane, HIGHEST_ORDER, least=0)[:, 0, 0]
        east, north = _basis(centre)
        centre = unit(centre + shift[0] * DEGREE * east + shift[1] * DEGREE * north)
        plane = _tangent_plane(sky, centre)
    return centre, plane


def _basis(centre: Array) -> tuple[Array, Array]:
    lon, lat = spherical_from_direction(centre)
    east = np.array([-np.sin(lon), np.cos(lon), 0.0])
    north = np.array([-np.sin(lat) * np.cos(lon), -np.sin(lat) * np.sin(lon), np.cos(lat)])
    return east, north


def _tangent_plane(sky: Array, centre: Array) -> Array:
    """Gnomonic coordinates towards east and north, (n, 2). [deg]"""
    along = np.stack([sky @ axis for axis in _basis(centre)], axis=-1)
    return np.asarray(along / (sky @ centre)[:, None] / DEGREE)


def _fitted(from_centre: Array, plane: Array, order: int) -> tuple[Array, Array, float]:
    """Linear terms, distortion, and what is left of it. [px]"""
    both = _polynomial(from_centre, plane, order, least=1)
    matrix = np.stack([both[:, 1, 0], both[:, 0, 1]], axis=-1)
    forward = np.einsum("ij,jkl->ikl", np.linalg.inv(matrix), both)
    forward[:, 1, 0] = forward[:, 0, 1] = 0.0
    fitted = (from_centre + _distortion(from_centre, forward)) @ matrix.T
    scale = np.sqrt(abs(np.linalg.det(matrix)))
    return matrix, forward, float(np.abs(fitted - plane).max() / scale)


def _powers(order: int, least: int) -> list[tuple[int, int]]:
    return [(i, j) for i, j in product(range(order + 1), repeat=2) if least <= i + j <= order]


def _polynomial(places: Array, values: Array, order: int, least: int = 1) -> Array:
    """Least-squares coefficients of x^i y^j, shape (2, order + 1, order + 1)."""
    size = float(np.abs(places).max())
    powers = _powers(order, least)
    terms = np.stack([(places[:, 0] / size) ** i * (places[:, 1] / size) ** j for i, j in powers], axis=-1)
    solved = np.linalg.lstsq(terms, values, rcond=None)[0]
    found = np.zeros((2, order + 1, order + 1))
    for (i, j), pair in zip(powers, solved, strict=True):
        found[:, i, j] = pair / size ** (i + j)
    return found


def _distortion(places: Array, coefficients: Array) -> Array:
    order = coefficients.shape[-1] - 1
    x, y = (places[:, k : k + 1] ** np.arange(order + 1) for k in (0, 1))
    return np.asarray(np.einsum("ni,nj,kij->nk", x, y, coefficients))
