"""What a wrong site, clock or air would do to a measurement."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polarcheck.axis import Attitudes, AxisFit, camera_attitudes, settled_axis
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.measurement.sample import Sample
from polarcheck.sky import Atmosphere, Pole, PoleKind, Sky
from polarcheck.vectors import Array, azalt_from_direction, wrap

__all__ = ["SiteCost", "site_cost"]

# tell what a wrong site, clock or air costs as all frames do: to 3 % for 142 of a real sequence, twelve to 9 %; more
# only take longer
_COST_FRAMES = 24


@dataclass(frozen=True, slots=True)
class SiteCost:
    """How far a wrong site, clock or air would move the result on the sky.

    Attributes
    ----------
    longitude_arcmin_per_deg, latitude_arcmin_per_deg : float
        For one degree in the site. [arcmin/deg]
    clock_arcmin_per_min : float
        For one minute of the clock. [arcmin/min]
    pressure_arcmin_per_10hpa, temperature_arcmin_per_10deg : float
        For 10 hPa and 10 deg C of the air. [arcmin]
    humidity_arcmin_per_half : float
        For 0.5 of relative humidity. [arcmin]
    """

    longitude_arcmin_per_deg: float
    latitude_arcmin_per_deg: float
    clock_arcmin_per_min: float
    pressure_arcmin_per_10hpa: float
    temperature_arcmin_per_10deg: float
    humidity_arcmin_per_half: float


def site_cost(sample: Sample, fit: AxisFit, sky: Sky, kind: PoleKind) -> SiteCost:
    """Fit again with the site off by a degree, or in other air; the groups and the frames in use stay.

    Parameters
    ----------
    sample : Sample
        The frames.
    fit : AxisFit
        The measurement.
    sky : Sky
        Site and air that it was made with.
    kind : {"refracted", "true"}
        The pole that errors refer to.

    Returns
    -------
    SiteCost
    """
    used = np.flatnonzero(fit.used)
    if fit.turns:
        used = used[used >= fit.turns.moments[-1]]
    some = used[:: -(-len(used) // _COST_FRAMES)]
    part, groups = sample.part(some), np.unique(fit.groups[some], return_inverse=True)[1]

    def seen(moved: Sky) -> Attitudes:
        observed = moved.observed(part.sky, part.epochs)
        return camera_attitudes(observed, SENSOR_WEIGHTS, part.camera, part.noise)

    def solved(attitudes: Attitudes, start: Array) -> Array:
        return settled_axis(attitudes, groups, 1 / part.noise**2, start, fit.roll_ratio)[0]

    here = seen(sky)
    axis = solved(here, fit.axis)

    def cost(moved: Sky) -> float:
        there = seen(moved)
        turned = there.matrices[0] @ here.matrices[0].T  # as the whole sky, but for refraction
        off = _offset_from_pole(solved(there, turned @ axis), moved.pole(kind))
        return float(np.linalg.norm(off - _offset_from_pole(axis, sky.pole(kind)))) / ARCMIN

    site, air = sky.site, sky.air
    towards_pole = -1.0 if abs(site.latitude_deg) > 89 else 1.0
    northward = towards_pole * float(np.copysign(1.0, site.latitude_deg))
    by_longitude = cost(Sky(site.moved(0.0, 1.0), air))
    return SiteCost(
        by_longitude,
        cost(Sky(site.moved(northward, 0.0), air)),
        by_longitude / 4,  # the Earth turns a degree in four minutes
        *(cost(Sky(site, other)) for other in _other_airs(air)),
    )


def _other_airs(air: Atmosphere) -> tuple[Atmosphere, Atmosphere, Atmosphere]:
    """The same air with another pressure, temperature and humidity, within what can be; without air, none."""
    if not air.pressure_hpa:
        return air, air, air
    return (
        replace(air, pressure_hpa=air.pressure_hpa + (10.0 if air.pressure_hpa < 1000 else -10.0)),
        replace(air, temperature_c=air.temperature_c + (10.0 if air.temperature_c < 0 else -10.0)),
        replace(
            air, relative_humidity=air.relative_humidity + (0.5 if air.relative_humidity < 0.5 else -0.5)
        ),
    )


def _offset_from_pole(axis: Array, pole: Pole) -> Array:
    """Azimuth (on the sky) and altitude of the axis from the pole, shape (2,). [rad]"""
    azimuth, altitude = azalt_from_direction(axis)
    across = float(wrap(azimuth - pole.azimuth_deg * DEGREE)) * np.cos(altitude)
    return np.array([across, float(altitude) - pole.altitude_deg * DEGREE])
