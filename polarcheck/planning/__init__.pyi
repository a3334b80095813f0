from .bodies import Body, Moon, Shadow
from .compass import Compass, compass_at
from .expected import ExpectedSigma, PlanCamera, camera_of, expected_sigma
from .pole_star import PoleField, PoleStar, pole_field, pole_stars
from .rough import RoughSetup, SunTimes, rough_setup
from .sweep import Position, SweepPlan, SweepWish, plan_sweep
from .tracked import TrackedPlan, TrackedRow, plan_tracked
from .usual_errors import COMPASS_DEG, LATITUDE_SCALE_DEG, Expectation, expectations

__all__ = [
    "COMPASS_DEG",
    "LATITUDE_SCALE_DEG",
    "Body",
    "Compass",
    "Expectation",
    "ExpectedSigma",
    "Moon",
    "PlanCamera",
    "PoleField",
    "PoleStar",
    "Position",
    "RoughSetup",
    "Shadow",
    "SunTimes",
    "SweepPlan",
    "SweepWish",
    "TrackedPlan",
    "TrackedRow",
    "camera_of",
    "compass_at",
    "expectations",
    "expected_sigma",
    "plan_sweep",
    "plan_tracked",
    "pole_field",
    "pole_stars",
    "rough_setup",
]
