from .durations import parse_duration
from .utc import add_seconds, iso_from_utc, seconds_between, to_utc, utc_from_iso

__all__ = ["add_seconds", "iso_from_utc", "parse_duration", "seconds_between", "to_utc", "utc_from_iso"]
