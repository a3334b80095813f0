from .cards import SiteKeywords, site_cards, time_cards
from .mount import (
    Camera,
    camera_directions,
    camera_pixels,
    error_of_axis,
    mount_attitudes,
    mount_axis,
    noisy_attitudes,
    sensor_points,
)
from .write import simulate_frames, truth_of, write_frame

__all__ = [
    "Camera",
    "SiteKeywords",
    "camera_directions",
    "camera_pixels",
    "error_of_axis",
    "mount_attitudes",
    "mount_axis",
    "noisy_attitudes",
    "sensor_points",
    "simulate_frames",
    "site_cards",
    "time_cards",
    "truth_of",
    "write_frame",
]
