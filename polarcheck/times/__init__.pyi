from .durations import parse_duration
from .moments import clock_now, moment_from, shown_in_zone
from .utc import add_seconds, iso_from_utc, seconds_between, to_utc, utc_from_iso
from .zones import check_zone, zone_ahead_s

__all__ = [
    "add_seconds",
    "check_zone",
    "clock_now",
    "iso_from_utc",
    "moment_from",
    "parse_duration",
    "seconds_between",
    "shown_in_zone",
    "to_utc",
    "utc_from_iso",
    "zone_ahead_s",
]
