"""Results as JSON objects, for scripts and for later commands."""

from __future__ import annotations

import json
from typing import Any

from polarcheck.alignment import Alignment, AxisError, Step
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import Notice
from polarcheck.measurement import SAG_ARCSEC, Measurement
from polarcheck.sky import Pole
from polarcheck.times import iso_from_utc
from polarcheck.verdicts import FrameEntry

__all__ = ["alignment_keys", "json_text", "measurement_object"]


def json_text(value: dict[str, Any]) -> str:
    """Return an object as readable JSON; what is not a number anywhere is an error, never NaN."""
    return json.dumps(value, indent=1, ensure_ascii=True, allow_nan=False)


def measurement_object(result: Measurement) -> dict[str, Any]:
    """Return the object of schema ``polarcheck.measure/1``."""
    return {
        "schema": "polarcheck.measure/1",
        "site": {
            "latitude_deg": result.site.latitude_deg,
            "longitude_deg": result.site.longitude_deg,
            "height_m": result.site.height_m,
            "source": result.site.source,
        },
        "atmosphere": {
            "pressure_hpa": result.atmosphere.pressure_hpa,
            "temperature_c": result.atmosphere.temperature_c,
            "relative_humidity": result.atmosphere.relative_humidity,
            "wavelength_um": result.atmosphere.wavelength_um,
        },
        "epoch_utc": iso_from_utc(result.utc),
        "pole": _pole(result.pole),
        "axis": {
            "azimuth_deg": result.axis_azimuth_deg,
            "altitude_deg": result.axis_altitude_deg,
            "right_ascension_deg": result.axis_ra_deg,
            "declination_deg": result.axis_dec_deg,
            "covariance_arcmin2": (result.fit.covariance / ARCMIN**2).tolist(),
        },
        "error": _error(result.error),
        "other_pole": {**_pole(result.other_pole), "error": _error(result.other_error)},
        "fit": _fit(result),
        "frames": [_entry(entry) for entry in result.entries],
        "site_cost": {
            "longitude_arcmin_per_deg": result.site_cost.longitude_arcmin_per_deg,
            "latitude_arcmin_per_deg": result.site_cost.latitude_arcmin_per_deg,
            "clock_arcmin_per_min": result.site_cost.clock_arcmin_per_min,
        },
        "next_frame": _next(result),
        **alignment_keys(result.alignment),
        "warnings": [_notice(notice) for notice in result.notices],
    }


def alignment_keys(alignment: Alignment) -> dict[str, Any]:
    """Return what a later command needs, as `polarcheck.saved` reads it back."""
    return {
        "aim": alignment.pole_kind,
        "degrees_of_freedom": alignment.degrees_of_freedom,
        "camera": _camera(alignment),
        "history": [_step(step) for step in alignment.steps],
    }


def _camera(alignment: Alignment) -> dict[str, Any] | None:
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
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "epoch_utc": iso_from_utc(step.utc),
        "is_fresh": step.is_fresh,
        "azimuth_deg": step.azimuth_deg,
        "altitude_deg": step.altitude_deg,
        "covariance_arcmin2": (step.covariance / ARCMIN**2).tolist(),
        "turned": None if step.turned is None else list(step.turned),
    }


def _pole(pole: Pole) -> dict[str, Any]:
    return {"kind": pole.kind, "azimuth_deg": pole.azimuth_deg, "altitude_deg": pole.altitude_deg}


def _error(error: AxisError) -> dict[str, float]:
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
        "axis_angle_deg": step.axis_angle_deg,
        "sigma_now_arcmin": step.sigma_now_arcmin,
        "sigma_then_arcmin": step.sigma_then_arcmin,
    }


def _notice(notice: Notice) -> dict[str, str]:
    return {"code": notice.code, "text": notice.text}
