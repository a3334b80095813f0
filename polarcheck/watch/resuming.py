"""Where the night stood when the watch begins."""

from __future__ import annotations

from polarcheck.errors import Notice
from polarcheck.night import ANOTHER_NIGHT_S, NightAccount, NightLog, account_of
from polarcheck.printable import printable
from polarcheck.times import seconds_between, utc_from_iso

__all__ = ["night_so_far"]


def night_so_far(log: NightLog, now_utc: str) -> tuple[NightAccount | None, tuple[Notice, ...]]:
    """Read what the night's file tells of this night.

    Parameters
    ----------
    log : NightLog
    now_utc : str
        ISO 8601, UTC.

    Returns
    -------
    account : NightAccount or None
        None where the file holds nothing, or its last event is of another night.
    notices : tuple of Notice
        Lines that cannot be read.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    record = log.read()
    notices = record.notices(printable(log.path.name))
    if not record.events:
        return None, notices
    age = seconds_between(utc_from_iso(record.events[-1].time_utc), utc_from_iso(now_utc))
    return (None if age > ANOTHER_NIGHT_S else account_of(record.events, log.path.parent)), notices
