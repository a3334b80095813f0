from .after import simulate_after
from .cards import SiteKeywords, site_cards, time_cards
from .knobs import KnobMount, by_hand, drawn_mount
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
from .schema import TruthSchema
from .write import Setup, Sweep, simulate_frames, write_frame

__all__ = [
    "Camera",
    "KnobMount",
    "Setup",
    "SiteKeywords",
    "Sweep",
    "TruthSchema",
    "by_hand",
    "camera_directions",
    "camera_pixels",
    "drawn_mount",
    "error_of_axis",
    "mount_attitudes",
    "mount_axis",
    "noisy_attitudes",
    "sensor_points",
    "simulate_after",
    "simulate_frames",
    "site_cards",
    "time_cards",
    "write_frame",
]
