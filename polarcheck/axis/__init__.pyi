from .attitudes import Attitudes, camera_attitudes
from .beside_sweep import LONG_S, contradicts_tracking, guided_in_sweep, still_runs
from .course import Course
from .design import SweepDesign, chosen_frames, pointing_at, sweep_design
from .fit import AxisFit, axis_angle, fit_axis
from .flexure import Creep, flexure_region
from .in_camera import (
    CameraAxis,
    FollowedAxis,
    axes_alone,
    camera_axis,
    carry_axis,
    foretold_information,
)
from .least_squares import settled_axis, solve_axis, turn_about
from .next_frame import NextFrame, best_next_frame, reachable_turns
from .reach import LOWEST, Horizon, MountLimits, Reach
from .region import confidence_region, ellipse
from .slow_changes import fit_sweep
from .stillness import is_still

__all__ = [
    "LONG_S",
    "LOWEST",
    "Attitudes",
    "AxisFit",
    "CameraAxis",
    "Course",
    "Creep",
    "FollowedAxis",
    "Horizon",
    "MountLimits",
    "NextFrame",
    "Reach",
    "SweepDesign",
    "axes_alone",
    "axis_angle",
    "best_next_frame",
    "camera_attitudes",
    "camera_axis",
    "carry_axis",
    "chosen_frames",
    "confidence_region",
    "contradicts_tracking",
    "ellipse",
    "fit_axis",
    "fit_sweep",
    "flexure_region",
    "foretold_information",
    "guided_in_sweep",
    "is_still",
    "pointing_at",
    "reachable_turns",
    "settled_axis",
    "solve_axis",
    "still_runs",
    "sweep_design",
    "turn_about",
]
