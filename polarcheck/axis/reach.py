"""Where the camera can be pointed: horizon, view, zenith zone, and the turns that the mount can make.

Pure geometry: East-North-Up unit vectors, radians. Axis angles are zero on the upper meridian and grow westward.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, azalt_from_direction

__all__ = ["LOWEST", "Horizon", "MountLimits", "Reach", "Window"]

Bools = npt.NDArray[np.bool_]
Window = tuple[float, float]
"""Least and greatest axis angle that belong together, so without a change of pier side; they may pass +-pi. [rad]"""

LOWEST = 15 * DEGREE
"""Frames are not planned below this altitude unless a horizon says more. [rad]"""

_EVERYWHERE: Window = (-np.pi, np.pi)


@dataclass(frozen=True, slots=True)
class Horizon:
    """What hides the sky: an altitude for each azimuth, straight between the given ones and on around.

    Attributes
    ----------
    azimuths : ndarray, shape (n,)
        Growing, within [0, 2 pi). [rad]
    altitudes : ndarray, shape (n,)
        [rad]
    """

    azimuths: Array
    altitudes: Array

    def altitude(self, azimuth: npt.ArrayLike) -> Array:
        """Return the horizon's altitude at azimuths. [rad]"""
        return np.asarray(
            np.interp(np.asarray(azimuth, dtype=float), self.azimuths, self.altitudes, period=2 * np.pi)
        )


@dataclass(frozen=True, slots=True)
class MountLimits:
    """The turns about the right-ascension axis that a mount can make.

    Attributes
    ----------
    past_meridian : float or None
        How far past the meridian the tube may go before it must change the side of the pier; None where nobody
        said. [rad]
    turns : tuple of float
        Least and greatest axis angle. [rad]
    arc : float
        The longest arc of one sweep: cables, a patient clutch. [rad]
    """

    past_meridian: float | None = None
    turns: Window = _EVERYWHERE
    arc: float = np.pi

    def windows(self, crossed: float = 0.0) -> tuple[Window, Window]:
        """Return the axis angles of each side of the pier: looking east of the meridian, then west of it.

        The counterweight then hangs below the tube, over half a turn; at its far end the tube looks under the pole.

        Parameters
        ----------
        crossed : float
            How far past the meridian the mount may go where `past_meridian` is not known. [rad]
        """
        past = crossed if self.past_meridian is None else self.past_meridian
        return (-np.pi - past, past), (-past, np.pi + past)

    def allows_turn(self, angles: npt.ArrayLike) -> Bools:
        """Return whether axis angles, wrapped or not, lie within `turns`."""
        wrapped = (np.asarray(angles, dtype=float) + np.pi) % (2 * np.pi) - np.pi
        least, greatest = self.turns
        small = 1e-9
        return np.asarray((wrapped >= least - small) & (wrapped <= greatest + small))


@dataclass(frozen=True, slots=True)
class Reach:
    """What can be pointed at.

    Attributes
    ----------
    lowest, highest : float
        Altitudes between which frames may lie; above the highest the tube would meet the tripod. [rad]
    horizon : Horizon or None
        What hides the sky besides.
    view : tuple of float or None
        The azimuths between which the sky is open, from the first through east to the second; None: all around. [rad]
    limits : MountLimits
        What the mount can do.
    avoided : tuple of (ndarray, float)
        Directions to stay away from, shape (3,), each with its distance [rad]: Sun and Moon.
    """

    lowest: float = LOWEST
    highest: float = np.pi / 2
    horizon: Horizon | None = None
    view: Window | None = None
    limits: MountLimits = field(default_factory=MountLimits)
    avoided: tuple[tuple[Array, float], ...] = ()

    def sees(self, directions: Array) -> Bools:
        """Return whether directions, shape (..., 3), are open: above the horizon, in view, clear of Sun and Moon."""
        azimuth, altitude = azalt_from_direction(directions)
        small = 1e-9
        clear = (altitude >= self.lowest - small) & (altitude <= self.highest + small)
        if self.horizon is not None:
            clear &= altitude >= self.horizon.altitude(azimuth) - small
        if self.view is not None:
            begin, end = self.view
            clear &= (azimuth - begin + small) % (2 * np.pi) <= (end - begin) % (2 * np.pi) + 2 * small
        for direction, distance in self.avoided:
            clear &= directions @ direction <= np.cos(distance)
        return np.asarray(clear)

    def windows_with(self, angles: Array) -> tuple[Window, ...]:
        """Return the sides of the pier on which all these axis angles lie; frames show what a mount can do.

        Parameters
        ----------
        angles : ndarray, shape (n,)
            Of the frames of one sweep, unwrapped so that they stand together. [rad]

        Returns
        -------
        tuple of Window
            One or two; turned by whole turns so that they hold the angles. None where the frames contradict the limits.
        """
        least, greatest = float(np.min(angles)), float(np.max(angles))
        if self.limits.past_meridian is None:
            found = _sides(MountLimits(), least, greatest, crossed=0.0)
            crossed = min(abs(least), abs(greatest)) if least < 0 < greatest else 0.0
            return found or _sides(MountLimits(), least, greatest, crossed)
        return _sides(self.limits, least, greatest, 0.0)


def _sides(limits: MountLimits, least: float, greatest: float, crossed: float) -> tuple[Window, ...]:
    small = 1e-6
    found = []
    for begin, end in limits.windows(crossed):
        shift = 2 * np.pi * np.ceil((begin - small - least) / (2 * np.pi))
        if greatest + shift <= end + small:
            found.append((begin - shift, end - shift))
    return tuple(found)
