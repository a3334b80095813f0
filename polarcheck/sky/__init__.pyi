from .camera_motion import FieldFrame, field_rotation, guided_attitude, tracking_attitude
from .catalogue import Target, find_target, read_targets
from .earth import EarthOrientation, earth_orientation
from .observed import (
    Atmosphere,
    Pole,
    PoleKind,
    celestial_pole,
    icrs_from_observed,
    moon_altitude_deg,
    moon_lit_part,
    observed_from_icrs,
    refracted_pole,
    refraction_constants,
    standard_atmosphere,
    sun_altitude_deg,
)
from .track import Track, field_frame, field_points, star_track

__all__ = [
    "Atmosphere",
    "EarthOrientation",
    "FieldFrame",
    "Pole",
    "PoleKind",
    "Target",
    "Track",
    "celestial_pole",
    "earth_orientation",
    "field_frame",
    "field_points",
    "field_rotation",
    "find_target",
    "guided_attitude",
    "icrs_from_observed",
    "moon_altitude_deg",
    "moon_lit_part",
    "observed_from_icrs",
    "read_targets",
    "refracted_pole",
    "refraction_constants",
    "standard_atmosphere",
    "star_track",
    "sun_altitude_deg",
    "tracking_attitude",
]
