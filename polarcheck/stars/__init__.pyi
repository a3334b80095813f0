from .choice import mark_candidates
from .files import FrameStars, measure_stars, median_map, middle_elongation, star_notices, stars_of
from .listing import StarList, list_stars
from .mosaic import as_one_plane
from .pairing import StarPairs, nearest_pairs, pair_stars
from .schema import StarsSchema
from .steady import steady_frames
from .summary import StarSummary, summarise
from .table import StarTable, find_stars

__all__ = [
    "FrameStars",
    "StarList",
    "StarPairs",
    "StarSummary",
    "StarTable",
    "StarsSchema",
    "as_one_plane",
    "find_stars",
    "list_stars",
    "mark_candidates",
    "measure_stars",
    "median_map",
    "middle_elongation",
    "nearest_pairs",
    "pair_stars",
    "star_notices",
    "stars_of",
    "steady_frames",
    "summarise",
]
