from .attitudes import camera_attitudes
from .fit import AxisFit, best_next_frame, fit_axis, shift_by_sag
from .in_camera import CameraAxis, FollowedAxis, camera_axis, carry_axis
from .least_squares import solve_axis, turn_about

__all__ = [
    "AxisFit",
    "CameraAxis",
    "FollowedAxis",
    "best_next_frame",
    "camera_attitudes",
    "camera_axis",
    "carry_axis",
    "fit_axis",
    "shift_by_sag",
    "solve_axis",
    "turn_about",
]
