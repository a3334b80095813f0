from .bodies import Body, Moon, Shadow
from .checklist import Checklist, Finder, MountKind, Stage, checklist_for
from .compass import Compass, compass_at
from .expected import ExpectedSigma, PlanCamera, camera_of, expected_sigma
from .plan_schema import PlanSchema, TrackedPlanSchema
from .pole_star import PoleField, PoleStar, pole_field, pole_stars
from .rough import RoughSetup, SunTimes, rough_setup
from .schema import RoughSchema
from .sweep import Position, SweepPlan, plan_sweep
from .sweep_search import SweepWish
from .tracked import TrackedPlan, TrackedRow, plan_tracked
from .usual_errors import COMPASS_DEG, LATITUDE_SCALE_DEG, Expectation, expectations

__all__ = [
    "COMPASS_DEG",
    "LATITUDE_SCALE_DEG",
    "Body",
    "Checklist",
    "Compass",
    "Expectation",
    "ExpectedSigma",
    "Finder",
    "Moon",
    "MountKind",
    "PlanCamera",
    "PlanSchema",
    "PoleField",
    "PoleStar",
    "Position",
    "RoughSchema",
    "RoughSetup",
    "Shadow",
    "Stage",
    "SunTimes",
    "SweepPlan",
    "SweepWish",
    "TrackedPlan",
    "TrackedPlanSchema",
    "TrackedRow",
    "camera_of",
    "checklist_for",
    "compass_at",
    "expectations",
    "expected_sigma",
    "plan_sweep",
    "plan_tracked",
    "pole_field",
    "pole_stars",
    "rough_setup",
]
