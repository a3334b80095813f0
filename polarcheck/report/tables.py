"""Rows of results as tables with units, for notebooks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from astropy import units as u
from astropy.table import MaskedColumn, QTable
from astropy.time import Time

from polarcheck.measurement import Measurement
from polarcheck.outlook import Drift, DriftCheck, SkyMap, Timeline
from polarcheck.times import add_seconds
from polarcheck.vectors import Array

__all__ = ["drift_check_table", "drift_table", "map_table", "measurement_table", "timeline_table"]

Date = tuple[float, float]


def measurement_table(result: Measurement) -> QTable:
    """Return the files of a measurement, a file a row."""
    entries = result.entries
    return QTable(
        {
            "file": [entry.name for entry in entries],
            "used": [entry.used for entry in entries],
            "mid_exposure": _times([entry.utc for entry in entries]),
            "group": _whole(entry.group for entry in entries),
            "axis_angle": _numbers(entry.axis_angle_deg for entry in entries) * u.deg,
            "residual": _numbers(entry.residual_arcsec for entry in entries) * u.arcsec,
            "reason": [entry.reason or "" for entry in entries],
        }
    )


def drift_table(drift: Drift) -> QTable:
    """Return the way of a target in the camera, a moment a row."""
    return QTable(
        {
            "t": drift.seconds * u.s,
            "east": drift.east_arcsec * u.arcsec,
            "north": drift.north_arcsec * u.arcsec,
            "rotation": drift.rotation_arcsec * u.arcsec,
            "altitude": drift.altitude_deg * u.deg,
        }
    )


def drift_check_table(check: DriftCheck) -> QTable:
    """Return a sequence beside its prediction, a frame a row."""
    seen, predicted = check.seen_arcsec, check.predicted
    return QTable(
        {
            "file": list(check.names),
            "t": check.seconds * u.s,
            "east": seen[:, 0] * u.arcsec,
            "north": seen[:, 1] * u.arcsec,
            "rotation": seen[:, 2] * u.arcsec,
            "predicted_east": predicted.east_arcsec * u.arcsec,
            "predicted_north": predicted.north_arcsec * u.arcsec,
            "predicted_rotation": predicted.rotation_arcsec * u.arcsec,
        }
    )


def map_table(sky: SkyMap) -> QTable:
    """Return the cells of a map that stand above 5 deg, a cell a row; a limit is infinite where there is none."""
    declination, hour_angle = np.meshgrid(sky.declination_deg, sky.hour_angle_deg, indexing="ij")
    up = ~np.isnan(sky.limit_s)
    return QTable(
        {
            "hour_angle": hour_angle[up] * u.deg,
            "declination": declination[up] * u.deg,
            "altitude": sky.altitude_deg[up] * u.deg,
            "limit": sky.limit_s[up] * u.s,
        }
    )


def timeline_table(line: Timeline) -> QTable:
    """Return a night, a moment a row; a limit is infinite where there is none, NaN where the target is too low."""
    return QTable(
        {
            "time": _times([add_seconds(line.night.dusk, float(second)) for second in line.seconds]),
            "altitude": line.altitude_deg * u.deg,
            "hour_angle": line.hour_angle_deg * u.deg,
            "moon_altitude": line.moon_altitude_deg * u.deg,
            "limit": line.limit_s * u.s,
        }
    )


def _times(dates: Sequence[Date | None]) -> Time:
    """Moments, masked where they are unknown."""
    unknown = np.array([date is None for date in dates])
    first, second = np.array([date or (0.0, 0.0) for date in dates]).reshape(-1, 2).T
    if unknown.any():
        first, second = (np.ma.array(part, mask=unknown) for part in (first, second))
    return Time(first, second, format="jd", scale="utc", precision=2).copy(format="isot")


def _numbers(values: Iterable[float | None]) -> Array:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _whole(values: Iterable[int | None]) -> MaskedColumn:
    known = list(values)
    return MaskedColumn([value or 0 for value in known], mask=[value is None for value in known])
