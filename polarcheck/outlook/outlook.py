"""What an axis does to targets under one camera: everything that goes together through drift, exposure, map and night."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.alignment import Alignment, as_alignment
from polarcheck.axis import Horizon
from polarcheck.constants import DEGREE
from polarcheck.errors import InputError
from polarcheck.given import UtcLike, as_number, as_seconds, as_utc
from polarcheck.outlook.drift import Drift, Rate, moments_over, predict_drift
from polarcheck.outlook.exposure import Exposure, exposure_limit, required_error
from polarcheck.outlook.exposure_list import TargetExposure
from polarcheck.outlook.hidden import map_above, timeline_above
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import Scene, set_scene
from polarcheck.outlook.skymap import SkyMap, exposure_map
from polarcheck.outlook.star_look import StarLook, star_looks
from polarcheck.outlook.timeline import Timeline, night_timeline
from polarcheck.sky import Target, TargetLike, as_target

__all__ = ["Outlook"]

Date = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Outlook:
    """An alignment with the camera that it carries, and what may move in it.

    A target is a name such as ``"M31"``, ICRS right ascension and declination [deg], a `Target` or a `SkyCoord`; a moment
    is text such as ``"2026-11-14T22:00:00"`` (UTC), an astropy `Time`, or a two-part Julian date of UTC. Every method
    raises an `InputError` for a target below the horizon.

    Attributes
    ----------
    alignment : Alignment
        What `measure` or `follow` returns, or its `alignment`: axis, sky and what the error refers to; the mount stays so.
    optics : Optics
        Telescope, camera, guide star and drive.
    tolerance_arcsec : float
        Largest motion of a star that is tolerated, in units of the central pixel scale. [arcsec]
    guided : bool
        Whether a guider holds the guide star still.
    rate : {"sidereal", "king", "solar", "lunar"}
        At which the unguided mount turns.
    horizon : Horizon or None
        What hides the sky at the site, for `map` and `timeline`: `Rig.reach.horizon`.
    """

    alignment: Alignment
    optics: Optics
    tolerance_arcsec: float
    guided: bool = False
    rate: Rate = "sidereal"
    horizon: Horizon | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "alignment", as_alignment(self.alignment))
        object.__setattr__(self, "tolerance_arcsec", as_number(self.tolerance_arcsec, "tolerance_arcsec"))
        if not isinstance(self.optics, Optics):
            raise InputError("optics: give polarcheck.Optics, or what optics_from returns")

    def drift(self, target: TargetLike, utc: UtcLike, duration_s: float | str) -> Drift:
        """Predict how a target drifts while the mount tracks it unguided.

        Parameters
        ----------
        target, utc
            What, and from when on; see the class.
        duration_s : float or str
            For how long; text such as ``"10min"`` too. [s]

        Returns
        -------
        Drift
            Star in the camera minus its place at the start, along ICRS east and north. [arcsec]
        """
        place, moment = as_target(target).place, as_utc(utc)
        return predict_drift(
            self.alignment, place, moment, moments_over(as_seconds(duration_s, "duration_s")), self.rate
        )

    def scene(self, target: TargetLike, utc: UtcLike) -> Scene:
        """Return the target over the sensor: all that does not depend on the axis.

        Parameters
        ----------
        target, utc
            What, and from when on; see the class.

        Returns
        -------
        Scene
        """
        return set_scene(
            self.alignment.sky,
            self.alignment.pole,
            as_target(target).place,
            as_utc(utc),
            self.optics,
            guided=self.guided,
            rate=self.rate,
        )

    def exposure(self, target: TargetLike, utc: UtcLike) -> Exposure:
        """Find the longest exposure of a target.

        Parameters
        ----------
        target, utc
            What, and from when on; see the class.

        Returns
        -------
        Exposure
            Lengths in seconds; None without a limit. [s]
        """
        return self._exposure(self.scene(target, utc))

    def required(self, target: TargetLike, utc: UtcLike, want_s: float) -> float | None:
        """Return how near the pole an axis must be for an exposure that is wanted; see `required_error`.

        Parameters
        ----------
        target, utc
            What, and from when on; see the class.
        want_s : float
            The exposure. [s]

        Returns
        -------
        float or None
            0 where refraction alone forbids it, None beyond 600. [arcmin]
        """
        return self._required(self.scene(target, utc), want_s)

    def exposures(
        self,
        targets: Sequence[TargetLike],
        utc: UtcLike,
        want_s: float | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> tuple[TargetExposure, ...]:
        """Find the longest exposure of each of many targets; one that cannot be exposed keeps its reason.

        Parameters
        ----------
        targets : sequence of targets
        utc
            As for `exposure`.
        want_s : float, optional
            An exposure that is wanted. [s]
        progress : callable, optional
            Called with the number of targets done and of all targets.

        Returns
        -------
        tuple of TargetExposure
            In the order of the targets.
        """
        rows, moment = [], as_utc(utc)
        for done, target in enumerate([as_target(given) for given in targets], 1):
            rows.append(self._listed(target, moment, want_s))
            if progress is not None:
                progress(done, len(targets))
        return tuple(rows)

    def map(self) -> SkyMap:
        """Find the longest exposure all over the sky, hour angle by declination."""
        alignment = self.alignment
        found = exposure_map(
            alignment.axis, alignment.sky, self.optics, self.tolerance_arcsec, guided=self.guided
        )
        return found if self.horizon is None else map_above(found, alignment.sky, self.horizon)

    def timeline(self, target: TargetLike, utc: UtcLike) -> Timeline:
        """Follow a target from dusk to dawn.

        Parameters
        ----------
        target, utc
            What, and a moment: its night counts, or else the one that comes next.

        Returns
        -------
        Timeline
        """
        place = as_target(target).place
        line = night_timeline(
            self.alignment,
            place,
            as_utc(utc),
            self.optics,
            self.tolerance_arcsec,
            guided=self.guided,
            rate=self.rate,
        )
        if self.horizon is None:
            return line
        return timeline_above(line, self.alignment.sky, place, self.horizon)

    def look(
        self, target: TargetLike, utc: UtcLike, fwhm_arcsec: float, want_s: float | None = None
    ) -> list[list[StarLook]]:
        """Return how stars look after half, once and twice the longest exposure, and after a wanted one.

        Parameters
        ----------
        target, utc
            As for `exposure`.
        fwhm_arcsec : float
            Of a star that does not move. [arcsec]
        want_s : float, optional
            An exposure that is wanted. [s]

        Returns
        -------
        list of list of StarLook
            For each length, in order, the centre and the four corners of the sensor.
        """
        scene = self.scene(target, utc)
        longest = self._exposure(scene).limit_s or scene.end_s
        wanted = [] if want_s is None else [want_s]
        lengths = {min(length, scene.end_s) for length in (0.5 * longest, longest, 2.0 * longest, *wanted)}
        return star_looks(scene, self.alignment.axis, sorted(lengths), fwhm_arcsec)

    def _exposure(self, scene: Scene) -> Exposure:
        found = self.alignment
        return exposure_limit(
            scene, found.axis, found.pole, self.tolerance_arcsec, found.covariance, found.degrees_of_freedom
        )

    def _required(self, scene: Scene, want_s: float) -> float | None:
        return required_error(scene, self.alignment.pole, self.tolerance_arcsec, want_s)

    def _listed(self, target: Target, utc: Date, want_s: float | None) -> TargetExposure:
        try:
            scene = self.scene(target.place, utc)
            exposure = self._exposure(scene)
            needed = None if want_s is None else self._required(scene, want_s)
        except InputError as error:
            return TargetExposure(target, None, None, None, str(error))
        altitude = float(np.arcsin(scene.stars(np.zeros(1))[0, 0, 2]) / DEGREE)
        return TargetExposure(target, exposure, altitude, needed, None)
