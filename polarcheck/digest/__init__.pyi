from .frame_rows import FrameRow
from .lights import LightFrames
from .night_digest import DigestWish, Finding, NightDigest, digest_night
from .schema import ReportSchema
from .targets import TargetDigest, Tracked
from .thumbnails import Thumbnail

__all__ = [
    "DigestWish",
    "Finding",
    "FrameRow",
    "LightFrames",
    "NightDigest",
    "ReportSchema",
    "TargetDigest",
    "Thumbnail",
    "Tracked",
    "digest_night",
]
