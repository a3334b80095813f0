"""Which frames to take next: how many, and how far to turn the mount in right ascension for each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import Reach, axis_angle, foretold_information, reachable_turns
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.vectors import Array, rotation_matrix

__all__ = ["Positions", "next_positions"]

_STEP_DEG = 5.0  # nobody sets a circle finer than that in the dark
# a further frame that leaves more than this of sigma is not asked for: some eight at a time
_NOT_WORTH = 0.95
_MARGIN_DEG = 2.0  # above the lowest altitude: the mount may stand a little elsewhere after a turn, and later


@dataclass(frozen=True, slots=True)
class Positions:
    """Frames to take.

    Attributes
    ----------
    turns_deg : tuple of float
        About the right-ascension axis, from where the last used frame was taken, westward. [deg]
    covariance : ndarray, shape (2, 2)
        Of the axis, as these frames are expected to show it: azimuth times cos altitude, altitude. [arcmin^2]
    """

    turns_deg: tuple[float, ...]
    covariance: Array

    @property
    def sigma_arcmin(self) -> float:
        """Root mean square of the doubt in the axis. [arcmin]"""
        return float(np.sqrt(np.trace(self.covariance)))


def next_positions(alignment: Alignment, reach: Reach, wanted_arcmin: float) -> Positions | None:
    """Choose the fewest frames that show the axis as surely as wanted, or as surely as frames can.

    Parameters
    ----------
    alignment : Alignment
        How the mount stands, with the axis in its camera.
    reach : Reach
        Where it can point.
    wanted_arcmin : float
        Root mean square of the doubt in the axis that will do. [arcmin]

    Returns
    -------
    Positions or None
        In order along the arc, from the end that is nearer. None where the alignment holds no camera.
    """
    if alignment.camera is None or alignment.sensor is None:
        return None
    turns = _open_turns(alignment, reach)
    westward = -1.0 if alignment.site.is_north else 1.0
    pixel = alignment.sensor.pixel_scale_arcsec * ARCSEC
    search = _Search(
        *foretold_information(alignment.camera, alignment.axis, westward * turns * DEGREE, pixel)
    )
    chosen = [int(np.flatnonzero(turns == 0)[0])]  # a lone frame is taken where the mount stands
    while search.sigma(chosen) > wanted_arcmin and len(chosen) < len(turns):
        grown = search.grown(chosen)
        if search.sigma(grown) > _NOT_WORTH * search.sigma(chosen):
            break
        chosen = grown
    places = np.sort(turns[chosen])
    places = places[::-1] if abs(places[-1]) < abs(places[0]) else places
    return Positions(tuple(float(place) for place in places), search.covariance(chosen))


@dataclass(frozen=True, slots=True)
class _Search:
    """Information without new frames, (4, 4), and of each possible one, (m, 4, 4). [rad^-2]"""

    before: Array
    each: Array

    def covariance(self, chosen: list[int]) -> Array:
        """Of the axis with these frames. [arcmin^2]"""
        total = self.before + self.each[chosen].sum(axis=0)
        return np.asarray(np.linalg.inv(total)[:2, :2] / ARCMIN**2)

    def sigma(self, chosen: list[int]) -> float:
        return float(np.sqrt(np.trace(self.covariance(chosen))))

    def grown(self, chosen: list[int]) -> list[int]:
        """Add the best position, then move each in turn to a better one."""
        grown = [*chosen, self._best(chosen)]
        for i in range(len(grown)):
            grown[i] = self._best(grown[:i] + grown[i + 1 :])
        return grown

    def _best(self, others: list[int]) -> int:
        totals = self.before + self.each[others].sum(axis=0) + self.each
        squares = np.trace(np.linalg.inv(totals)[:, :2, :2], axis1=1, axis2=2)
        squares[others] = np.inf
        return int(np.argmin(squares))


def _open_turns(alignment: Alignment, reach: Reach) -> Array:
    """Turns that can be made without leaving the side of the pier, where the mount stands among them. [deg]"""
    camera, north = alignment.camera, alignment.site.is_north
    assert camera is not None
    turns: Array = np.arange(-180.0, 181.0, _STEP_DEG)
    here = camera.attitude @ camera.boresight
    pointing = rotation_matrix(alignment.axis, turns * DEGREE * (-1.0 if north else 1.0)) @ here
    angle = float(axis_angle(alignment.axis, here, north))
    higher = replace(reach, lowest=reach.lowest + _MARGIN_DEG * DEGREE)
    inside = reachable_turns(higher, turns * DEGREE, pointing, angle, np.array([angle]))
    return np.asarray(turns[inside | (turns == 0)])
