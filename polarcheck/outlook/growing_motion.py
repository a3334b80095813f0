"""The largest motion on a sensor as an exposure grows: one table from which any tolerance reads its longest exposure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.outlook.exposure import axes_beside, axes_drawn, telling_places
from polarcheck.outlook.scene import SHORTEST_S, Scene, largest_motion
from polarcheck.vectors import Array

__all__ = ["MotionCurve", "motion_curve"]

_LENGTHS = 72
_DRAWS_AT_ONCE = 128


@dataclass(frozen=True, slots=True, repr=False)
class MotionCurve:
    """How far the star that moves most has moved, for exposures of growing length.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
        Lengths, growing, the last as long as the target can be exposed. [s]
    arcsec : ndarray, shape (n,)
        Largest motion up to then, which never falls. [arcsec]
    arcsec_95 : ndarray, shape (n,), or None
        What 95 of 100 axes drawn from the covariance stay below; None without one. [arcsec]
    """

    seconds: Array
    arcsec: Array
    arcsec_95: Array | None

    def __repr__(self) -> str:
        return f"MotionCurve({len(self.seconds)} lengths up to {self.seconds[-1]:.0f} s, {self.arcsec[-1]:.3g} arcsec)"

    def limit_s(self, tolerance_arcsec: float, *, sure: bool = False) -> float | None:
        """Return the longest exposure for a tolerance, read between the lengths of the table. [s]

        Parameters
        ----------
        tolerance_arcsec : float
            [arcsec]
        sure : bool
            Whether it is to hold with 95 % confidence.

        Returns
        -------
        float or None
            None where the tolerance is not reached, or where nobody knows how sure it is.
        """
        size = self.arcsec_95 if sure else self.arcsec
        if size is None or size[-1] < tolerance_arcsec:
            return None
        i = int(np.argmax(size >= tolerance_arcsec))
        t, before, after = self.seconds[i], size[i - 1] if i else 0.0, size[i]
        if not before > 0 or not np.isfinite(after):
            start = self.seconds[i - 1] if i else 0.0
            return float(start + (t - start) * (tolerance_arcsec - before) / (after - before))
        part = np.log(tolerance_arcsec / before) / np.log(after / before)  # as a power of the length
        return float(self.seconds[i - 1] * (t / self.seconds[i - 1]) ** part)


def motion_curve(scene: Scene, alignment: Alignment) -> MotionCurve:
    """Follow the largest motion on the sensor.

    Parameters
    ----------
    scene : Scene
        The target over the sensor, guided or not.
    alignment : Alignment
        Its axis, and its covariance if it has one.

    Returns
    -------
    MotionCurve
    """
    seconds = _lengths(scene)
    axis = alignment.axis[None]
    size = np.maximum.accumulate(largest_motion(scene, axis, seconds).max(axis=-1)[0])
    if alignment.covariance is None:
        return MotionCurve(seconds, size, None)
    drawn = axes_drawn(alignment.axis, alignment.covariance, alignment.degrees_of_freedom)
    some = _telling(scene, axes_beside(alignment.axis, alignment.covariance))
    sizes = np.concatenate(
        [
            np.maximum.accumulate(largest_motion(some, axes, seconds).max(axis=-1), axis=1)
            for axes in np.array_split(drawn, len(drawn) // _DRAWS_AT_ONCE)
        ]
    )
    # the limit that 95 of 100 axes reach is where the motion that 95 of 100 stay below reaches the tolerance
    return MotionCurve(seconds, size, np.quantile(sizes, 0.95, axis=0, method="higher"))


def _telling(scene: Scene, axes: Array) -> Scene:
    """Keep the places that move most for some of the axes, early and late."""
    chosen = [telling_places(scene, axes, around).chosen for around in (scene.end_s / 100, scene.end_s)]
    return replace(scene, chosen=np.union1d(*chosen))


def _lengths(scene: Scene) -> Array:
    end = max(scene.end_s, 2 * SHORTEST_S)
    spread = np.geomspace(SHORTEST_S, end, _LENGTHS)
    optics = scene.optics
    if optics.periodic_error_arcsec and optics.worm_period_s and not scene.guided:
        crests = optics.worm_period_s * np.array([0.25, 0.5, 0.75, 1.0])
        spread = np.union1d(spread, crests[crests < end])
    return spread
