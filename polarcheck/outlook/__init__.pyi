from .drift import Drift, DriftRates, Rate, drift_notices, moments_over, predict_drift
from .drift_check import PARTS, DriftCheck, check_drift
from .exposure import Exposure, SensorPlace, Wanted, exposure_limit, required_error
from .exposure_list import TargetExposure
from .growing_motion import MotionCurve, motion_curve
from .optics import Optics, optics_from, parse_sensor, parse_tolerance, seen_notices
from .outlook import Outlook
from .scene import LONGEST_S, Scene, set_scene
from .schema import (
    DriftCheckSchema,
    DriftSchema,
    ExposureListSchema,
    ExposureSchema,
    MapSchema,
    RatesTable,
    ShiftTable,
    TargetTable,
    TimelineSchema,
)
from .seeing import measured_fwhm, seeing_notices
from .skymap import SkyMap, exposure_map
from .star_look import StarLook, star_looks
from .target_axis import TargetAim, aim_for_target
from .timeline import Timeline, night_timeline

__all__ = [
    "LONGEST_S",
    "PARTS",
    "Drift",
    "DriftCheck",
    "DriftCheckSchema",
    "DriftRates",
    "DriftSchema",
    "Exposure",
    "ExposureListSchema",
    "ExposureSchema",
    "MapSchema",
    "MotionCurve",
    "Optics",
    "Outlook",
    "Rate",
    "RatesTable",
    "Scene",
    "SensorPlace",
    "ShiftTable",
    "SkyMap",
    "StarLook",
    "TargetAim",
    "TargetExposure",
    "TargetTable",
    "Timeline",
    "TimelineSchema",
    "Wanted",
    "aim_for_target",
    "check_drift",
    "drift_notices",
    "exposure_limit",
    "exposure_map",
    "measured_fwhm",
    "moments_over",
    "motion_curve",
    "night_timeline",
    "optics_from",
    "parse_sensor",
    "parse_tolerance",
    "predict_drift",
    "required_error",
    "seeing_notices",
    "seen_notices",
    "set_scene",
    "star_looks",
]
