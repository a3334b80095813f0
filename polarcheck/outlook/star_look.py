"""What stars will look like: the path of a star over an exposure, its picture and its elongation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import FWHM_PER_SIGMA
from polarcheck.outlook.scene import Scene, is_up, motion, periodic_motion
from polarcheck.vectors import Array

__all__ = ["StarLook", "elongation_of", "star_looks"]

_FINER = 4  # points of a star's picture along each pixel of the camera
_MOMENTS = 61
_CENTRE, _CORNERS = 0, (8, 3, 1, 6)  # of the sensor's points, north through east at a camera angle of 0


@dataclass(frozen=True, slots=True)
class StarLook:
    """One star after an exposure.

    Attributes
    ----------
    place : str
        "centre", or "corner at 53 deg": its position angle from the centre, north through east.
    seconds : float
        Length of the exposure. [s]
    path_px : ndarray, shape (n, 2)
        Where its light fell, east and north of where it began. [px]
    trail_px : float
        Farthest it got from there. [px]
    elongation : float
        Major over minor axis of its second moments.
    """

    place: str
    seconds: float
    path_px: Array
    trail_px: float
    elongation: float

    def picture(self, fwhm_px: float, half_px: int) -> Array:
        """Return the star's light, north up and east left, shape (k, k), the brightest point 1."""
        span = np.arange(-half_px, half_px + 1e-9, 1 / _FINER)
        sigma = fwhm_px / FWHM_PER_SIGMA
        path = self.path_px - self.path_px.mean(axis=0)
        image = np.zeros((len(span), len(span)))
        for east, north in path:
            # rows run downwards from the north, columns rightwards from the east
            column, row = (np.exp(-((span + shift) ** 2) / (2 * sigma**2)) for shift in (east, north))
            image += np.outer(row, column)
        return np.asarray(image / image.max())


def star_looks(
    scene: Scene, axis: Array, lengths_s: Sequence[float], fwhm_arcsec: float
) -> list[list[StarLook]]:
    """Return how stars look at the centre and the corners of the sensor.

    Parameters
    ----------
    scene : Scene
    axis : ndarray, shape (3,)
        The mount's elevated end.
    lengths_s : sequence of float
        Lengths of the exposure. [s]
    fwhm_arcsec : float
        Of a star that does not move. [arcsec]

    Returns
    -------
    list of list of StarLook
        For each length, the centre and the corners above an altitude of 5 deg. Periodic error begins at its steepest phase.
    """
    return [_looks(scene, axis, length, fwhm_arcsec) for length in lengths_s]


def _looks(scene: Scene, axis: Array, length: float, fwhm_arcsec: float) -> list[StarLook]:
    scale = scene.optics.pixel_scale_arcsec
    seconds = np.linspace(0.0, length, _MOMENTS)
    nine = scene.only(np.arange(len(scene.optics.sensor_offsets)))
    paths = motion(nine, axis[None], seconds)[0] / scale
    swing = periodic_motion(nine, axis[None], seconds)
    if swing is not None:
        turns = np.sin(2 * np.pi * seconds / scene.optics.worm_period_s) / 2
        widest = periodic_motion(nine, axis[None], np.array([scene.optics.worm_period_s / 2]))
        assert widest is not None
        paths = paths + widest[0] / scale * turns[:, None, None]
    fwhm_px = fwhm_arcsec / scale
    looks = [_look("centre", length, paths[:, _CENTRE], fwhm_px)]
    up = is_up(nine)
    for index in _CORNERS:
        if not up[index]:
            continue
        angle = np.degrees(np.arctan2(*scene.optics.sensor_offsets[index])) % 360
        looks.append(_look(f"corner at {angle:.0f} deg", length, paths[:, index], fwhm_px))
    return looks


def _look(name: str, length: float, path: Array, fwhm_px: float) -> StarLook:
    farthest = float(np.hypot(path[:, 0], path[:, 1]).max())
    return StarLook(name, length, path, farthest, elongation_of(path, fwhm_px))


def elongation_of(path_px: Array, fwhm_px: float) -> float:
    """Return the elongation of a star whose light is spread evenly in time along a path.

    Second moments add up: those of a round star, and those of the path.

    Parameters
    ----------
    path_px : ndarray, shape (n, 2)
        Places at even steps of time, both ends included. [px]
    fwhm_px : float
        Of the star at rest. [px]

    Returns
    -------
    float
        Major over minor axis.
    """
    weights = np.ones(len(path_px))
    weights[[0, -1]] = 0.5
    weights /= weights.sum()
    middle = weights @ path_px
    apart = path_px - middle
    spread = np.einsum("n,ni,nj->ij", weights, apart, apart) + np.eye(2) * (fwhm_px / FWHM_PER_SIGMA) ** 2
    least, most = np.linalg.eigvalsh(spread)
    return float(np.sqrt(most / least))
