"""The result of a measurement: the axis error, and all that belongs to it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.alignment import Alignment, AxisError, Systematic
from polarcheck.axis import AxisFit, Creep
from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.errors import Notice
from polarcheck.measurement.costs import SiteCost
from polarcheck.measurement.verdicts import FrameEntry
from polarcheck.presenting import WithDict, WithPlot, WithTable
from polarcheck.site import Site
from polarcheck.sky import Pole, Sky
from polarcheck.vectors import Array, spherical_from_direction

__all__ = ["Measurement", "NextStep"]

_LOOSE_ARCMIN = 0.1  # finer than hands turn knobs; common practice, no source
_CLEARLY_LESS = 0.7  # of the sigma; common practice, no source


@dataclass(frozen=True, slots=True)
class NextStep:
    """The further frame that would narrow the answer most.

    Attributes
    ----------
    turn_deg : float
        About the right-ascension axis from where the last frame in use was taken, westward; tracking goes on. [deg]
    axis_angle_deg : float
        Where that is. [deg]
    azimuth_deg, altitude_deg : float
        Where the camera then points. [deg]
    sigma_now_arcmin, sigma_then_arcmin : float
        Larger half-axis of the error ellipse, one standard error, now and with that frame. [arcmin]
    """

    turn_deg: float
    axis_angle_deg: float
    azimuth_deg: float
    altitude_deg: float
    sigma_now_arcmin: float
    sigma_then_arcmin: float

    @property
    def is_worth_a_frame(self) -> bool:
        """Whether that frame tells clearly more: an answer looser than 0.1 arcmin, narrowed by a third."""
        return (
            self.sigma_now_arcmin > _LOOSE_ARCMIN
            and self.sigma_then_arcmin < _CLEARLY_LESS * self.sigma_now_arcmin
        )


@dataclass(frozen=True, slots=True, repr=False)
class Measurement(WithDict, WithTable, WithPlot):
    """The axis error and all that belongs to it.

    Attributes
    ----------
    alignment : Alignment
        How the mount stands: sky, axis, covariance, and what later commands need.
    fit : AxisFit
        How it came about.
    entries : tuple of FrameEntry
        Every file that was offered, in order of time, those without time last.
    notices : tuple of Notice
        Warnings.
    frame_noise_arcsec : float
        Standard error of one frame's pointing per coordinate, as used. [arcsec]
    creep : Creep or None
        The steady creep of the declination that was solved for, where the frames show one.
    site_cost : SiteCost
        What a wrong site or clock would do.
    next_step : NextStep or None
        The frame that would help most.
    """

    alignment: Alignment
    fit: AxisFit
    entries: tuple[FrameEntry, ...]
    notices: tuple[Notice, ...]
    frame_noise_arcsec: float
    creep: Creep | None
    site_cost: SiteCost
    next_step: NextStep | None

    def __repr__(self) -> str:
        return f"Measurement({self.error.brief}, {len(self.used)} of {len(self.used) + len(self.left_out)} frames)"

    def aimed_at(self, pole: Pole, notices: tuple[Notice, ...] = ()) -> Measurement:
        """Return the same measurement, its error counted from another pole or aim; `notices` are added to its own."""
        return replace(self, alignment=self.alignment.aimed_at(pole), notices=(*self.notices, *notices))

    def continuing(self, before: Alignment, turned: tuple[float, float] | None) -> Measurement:
        """Return the same measurement as one that goes on with the night of an earlier result.

        Parameters
        ----------
        before : Alignment
            The earlier result; its steps, which teach how the knobs act, come first.
        turned : tuple of float or None
            Turns that the azimuth and the altitude knob were given since, clockwise positive; None if nobody says. [turn]

        Raises
        ------
        InputError
            The earlier result is later, or of another place.
        """
        return replace(self, alignment=self.alignment.continuing(before, turned))

    @property
    def sky(self) -> Sky:
        """Where, and the air used for refraction."""
        return self.alignment.sky

    @property
    def site(self) -> Site:
        """Where."""
        return self.alignment.sky.site

    @property
    def utc(self) -> tuple[float, float]:
        """Mid-exposure of the last used frame, two-part Julian date."""
        return self.alignment.steps[-1].utc

    @property
    def pole(self) -> Pole:
        """What the error refers to."""
        return self.alignment.pole

    @property
    def axis(self) -> Array:
        """East-North-Up unit vector, shape (3,), of the end that points at the visible pole."""
        return self.alignment.axis

    @property
    def axis_azimuth_deg(self) -> float:
        """Azimuth of the axis. [deg]"""
        return self.alignment.steps[-1].azimuth_deg

    @property
    def axis_altitude_deg(self) -> float:
        """Altitude of the axis. [deg]"""
        return self.alignment.steps[-1].altitude_deg

    @property
    def axis_icrs_deg(self) -> tuple[float, float]:
        """ICRS right ascension and declination seen where the axis points, at `utc`. [deg]"""
        place = self.sky.icrs(self.axis[None, None], np.array([self.utc]))
        ra, dec = spherical_from_direction(place[0, 0])
        return float(ra) / DEGREE, float(dec) / DEGREE

    @property
    def error(self) -> AxisError:
        """Axis minus pole."""
        return self.alignment.error

    @property
    def other_pole(self) -> Pole:
        """The true pole where `pole` is the refracted one, else the refracted one."""
        return self.sky.pole("true" if self.pole.kind == "refracted" else "refracted")

    @property
    def other_error(self) -> AxisError:
        """Axis minus the other pole."""
        return self.alignment.aimed_at(self.other_pole).error

    @property
    def residual_rms_arcsec(self) -> float:
        """Over the used frames. [arcsec]"""
        return float(np.sqrt(np.mean(self.fit.residuals[self.fit.used] ** 2))) / ARCSEC

    @property
    def systematic(self) -> Systematic:
        """What sag and creep may have done beside the noise."""
        assert self.alignment.systematic is not None
        return self.alignment.systematic

    @property
    def used(self) -> tuple[FrameEntry, ...]:
        """The frames that bear on the axis."""
        return tuple(entry for entry in self.entries if entry.used)

    @property
    def left_out(self) -> tuple[FrameEntry, ...]:
        """The files that do not, other than those for which another stands."""
        return tuple(entry for entry in self.entries if not entry.used and not entry.is_sidecar)
