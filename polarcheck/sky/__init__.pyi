from .air import AIRLESS, Atmosphere, refraction_constants, standard_atmosphere
from .camera_motion import FieldFrame, field_rotation, guided_attitude, tracking_attitude
from .catalogue import Target, TargetLike, as_target, find_target
from .earth import EarthOrientation, earth_orientation
from .epochs import Epochs
from .observed import Pole, PoleKind, Sky
from .pole_stars import NEIGHBOURS, POLE_STAR, CatalogueStars, stars_near_pole
from .reference_catalogue import ReferenceStars, reference_stars
from .sun_and_moon import (
    darkness_begins,
    lifted,
    moon_altitude_deg,
    moon_directions,
    moon_lit_part,
    sun_altitude_deg,
    sun_directions,
)
from .target_list import read_targets
from .track import Track, field_frame, field_points, star_track

__all__ = [
    "AIRLESS",
    "NEIGHBOURS",
    "POLE_STAR",
    "Atmosphere",
    "CatalogueStars",
    "EarthOrientation",
    "Epochs",
    "FieldFrame",
    "Pole",
    "PoleKind",
    "ReferenceStars",
    "Sky",
    "Target",
    "TargetLike",
    "Track",
    "as_target",
    "darkness_begins",
    "earth_orientation",
    "field_frame",
    "field_points",
    "field_rotation",
    "find_target",
    "guided_attitude",
    "lifted",
    "moon_altitude_deg",
    "moon_directions",
    "moon_lit_part",
    "read_targets",
    "reference_stars",
    "refraction_constants",
    "standard_atmosphere",
    "star_track",
    "stars_near_pole",
    "sun_altitude_deg",
    "sun_directions",
    "tracking_attitude",
]
