"""Results as JSON objects, for scripts and for later commands."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from polarcheck.alignment import Alignment, AxisError, FrameFile, Step
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import Notice
from polarcheck.measurement import SAG_ARCSEC, FrameEntry, Measurement
from polarcheck.sky import Pole, Sky
from polarcheck.times import iso_from_utc

__all__ = [
    "alignment_keys",
    "error_object",
    "frame_object",
    "json_text",
    "measurement_object",
    "notice_object",
    "pole_object",
    "site_object",
]


def json_text(value: dict[str, Any]) -> str:
    """Return an object as readable JSON; what is not a number anywhere is an error, never NaN."""
    return json.dumps(value, indent=1, ensure_ascii=True, allow_nan=False)


def measurement_object(result: Measurement, kept_in: Path | None = None) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.measure/1``; see `alignment_keys` for `kept_in`."""
    right_ascension, declination = result.axis_icrs_deg
    return {
        "schema": "polarcheck.measure/1",
        **site_object(result.sky),
        "epoch_utc": iso_from_utc(result.utc),
        "pole": pole_object(result.pole),
        "axis": {
            "azimuth_deg": result.axis_azimuth_deg,
            "altitude_deg": result.axis_altitude_deg,
            "right_ascension_deg": right_ascension,
            "declination_deg": declination,
            "covariance_arcmin2": (result.fit.covariance / ARCMIN**2).tolist(),
        },
        "error": error_object(result.error),
        "other_pole": {**pole_object(result.other_pole), "error": error_object(result.other_error)},
        "fit": _fit(result),
        "frames": [_entry(entry) for entry in result.entries],
        "site_cost": {
            "longitude_arcmin_per_deg": result.site_cost.longitude_arcmin_per_deg,
            "latitude_arcmin_per_deg": result.site_cost.latitude_arcmin_per_deg,
            "clock_arcmin_per_min": result.site_cost.clock_arcmin_per_min,
        },
        "next_frame": _next(result),
        **alignment_keys(result.alignment, kept_in),
        "warnings": [notice_object(notice) for notice in result.notices],
    }


def site_object(sky: Sky) -> dict[str, Any]:
    """Return the keys ``site`` and ``atmosphere``."""
    site, air = sky.site, sky.air
    return {
        "site": {
            "latitude_deg": site.latitude_deg,
            "longitude_deg": site.longitude_deg,
            "height_m": site.height_m,
            "source": site.source,
        },
        "atmosphere": {
            "pressure_hpa": air.pressure_hpa,
            "temperature_c": air.temperature_c,
            "relative_humidity": air.relative_humidity,
            "wavelength_um": air.wavelength_um,
        },
    }


def frame_object(name: str, reason: str | None, utc: str | None) -> dict[str, Any]:
    """Return one entry of ``frames`` where nothing but its use is told."""
    return {"file": name, "used": reason is None, "reason": reason, "mid_exposure_utc": utc}


def alignment_keys(alignment: Alignment, kept_in: Path | None = None) -> dict[str, Any]:
    """Return what a later command needs, as `polarcheck.alignment.saved` reads it back.

    Where the last frame lies is told only in a result that is kept in a folder.
    """
    return {
        "aim": alignment.pole_kind,
        "degrees_of_freedom": alignment.degrees_of_freedom,
        "camera": _camera(alignment, kept_in),
        "history": [_step(step) for step in alignment.steps],
    }


def _camera(alignment: Alignment, kept_in: Path | None) -> dict[str, Any] | None:
    camera, sensor = alignment.camera, alignment.sensor
    if camera is None or sensor is None:
        return None
    return {
        "width_px": sensor.width_px,
        "height_px": sensor.height_px,
        "pixel_scale_arcsec": sensor.pixel_scale_arcsec,
        "mirrored": sensor.mirrored,
        "points": camera.template.tolist(),
        "axis": camera.axis.tolist(),
        "axis_covariance_arcsec2": (camera.covariance / ARCSEC**2).tolist(),
        "attitude": camera.attitude.tolist(),
        "noise_px": camera.noise_px,
        "roll_noise_ratio": camera.roll_ratio,
        "degrees_of_freedom": camera.degrees_of_freedom,
        "last_frame": alignment.last_frame,
        "is_continuous": alignment.is_continuous,
        "last_frame_file": _file(alignment.last_file, kept_in),
    }


def _file(file: FrameFile | None, kept_in: Path | None) -> dict[str, Any] | None:
    if file is None or kept_in is None:
        return None
    relative, absolute = file.seen_from(kept_in)
    return {"relative": relative, "absolute": absolute, "clock_ahead_s": file.clock_ahead_s}


def _step(step: Step) -> dict[str, Any]:
    return {
        "epoch_utc": iso_from_utc(step.utc),
        "is_fresh": step.is_fresh,
        "is_loose": step.is_loose,
        "azimuth_deg": step.azimuth_deg,
        "altitude_deg": step.altitude_deg,
        "covariance_arcmin2": (step.covariance / ARCMIN**2).tolist(),
        "turned": None if step.turned is None else list(step.turned),
    }


def pole_object(pole: Pole) -> dict[str, Any]:
    """Return the key ``pole``."""
    return {"kind": pole.kind, "azimuth_deg": pole.azimuth_deg, "altitude_deg": pole.altitude_deg}


def error_object(error: AxisError) -> dict[str, float]:
    """Return the key ``error``."""
    return {
        "azimuth_arcmin": error.azimuth_arcmin,
        "altitude_arcmin": error.altitude_arcmin,
        "azimuth_on_sky_arcmin": error.azimuth_on_sky_arcmin,
        "total_arcmin": error.total_arcmin,
        "azimuth_sigma_arcmin": error.azimuth_sigma_arcmin,
        "altitude_sigma_arcmin": error.altitude_sigma_arcmin,
        "total_sigma_arcmin": error.total_sigma_arcmin,
        "correlation": error.correlation,
        "azimuth_95_arcmin": error.azimuth_95_arcmin,
        "altitude_95_arcmin": error.altitude_95_arcmin,
        "largest_drift_arcsec_per_min": error.largest_drift_arcsec_per_min,
    }


def _fit(result: Measurement) -> dict[str, Any]:
    azimuth, altitude = result.sag_shift_arcmin
    return {
        "frames_used": len(result.used),
        "frames_left_out": len(result.left_out),
        "residual_rms_arcsec": result.residual_rms_arcsec,
        "degrees_of_freedom": result.fit.degrees_of_freedom,
        "arc_deg": result.fit.arc / DEGREE,
        "frame_noise_arcsec": result.frame_noise_arcsec,
        "roll_noise_ratio": result.fit.roll_ratio,
        "shift_by_sag": {
            "sag_arcsec": SAG_ARCSEC,
            "azimuth_arcmin": azimuth,
            "altitude_arcmin": altitude,
        },
    }


def _entry(entry: FrameEntry) -> dict[str, Any]:
    return {
        "file": entry.name,
        "used": entry.used,
        "reason": entry.reason,
        "mid_exposure_utc": iso_from_utc(entry.utc) if entry.utc else None,
        "group": entry.group,
        "axis_angle_deg": entry.axis_angle_deg,
        "residual_arcsec": entry.residual_arcsec,
    }


def _next(result: Measurement) -> dict[str, float] | None:
    step = result.next_step
    if step is None:
        return None
    return {
        "turn_deg": step.turn_deg,
        "axis_angle_deg": step.axis_angle_deg,
        "azimuth_deg": step.azimuth_deg,
        "altitude_deg": step.altitude_deg,
        "sigma_now_arcmin": step.sigma_now_arcmin,
        "sigma_then_arcmin": step.sigma_then_arcmin,
    }


def notice_object(notice: Notice) -> dict[str, str]:
    """Return one entry of ``warnings``."""
    return {"code": notice.code, "text": notice.text}
