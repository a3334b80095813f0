from .durations import parse_duration
from .utc import add_seconds, iso_from_utc, seconds_between, to_utc, utc_from_iso
from .zones import check_zone, zone_ahead_s

__all__ = [
    "add_seconds",
    "check_zone",
    "iso_from_utc",
    "parse_duration",
    "seconds_between",
    "to_utc",
    "utc_from_iso",
    "zone_ahead_s",
]
