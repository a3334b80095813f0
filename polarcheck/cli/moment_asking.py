"""The option that names a moment."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from polarcheck import sky, times
from polarcheck.cli.ending import say
from polarcheck.cli.parsing import parsed

if TYPE_CHECKING:
    from polarcheck.site import Site

__all__ = ["AT_HELP", "check_moment", "moment_asked"]

AT_HELP = (
    "When: 2026-11-14T20:00:00 (UTC), 20:30 (UTC unless a zone is said), now, or tonight (when it is dark)."
)

_TONIGHT = "tonight"


def check_moment(text: str | None, zone: str | None = None) -> None:
    """Refuse a moment that is none, before any work is done; a command line without one is wrong."""
    if text is None:
        raise typer.BadParameter("give --at TIME, UTC, such as 2026-11-14T20:00:00", param_hint="--at")
    if text.strip().lower() != _TONIGHT:
        parsed("--at", text, lambda said: times.moment_from(said, zone))


def moment_asked(text: str | None, zone: str | None = None, site: Site | None = None) -> tuple[float, float]:
    """Return the moment; one that is not said as a date is told on stderr, with its zone.

    Parameters
    ----------
    text : str or None
        As it was typed.
    zone : str, optional
        In which a time of day counts.
    site : Site, optional
        Whose dusk begins the night.
    """
    check_moment(text, zone)
    assert text is not None
    said = text.strip().lower()
    if said == _TONIGHT:
        if site is None:
            raise typer.BadParameter(
                "tonight serves only where a site is known first; give a time", param_hint="--at"
            )
        moment = sky.darkness_begins(times.clock_now(), site)
    else:
        moment = parsed("--at", text, lambda whole: times.moment_from(whole, zone))
    if len(said) < len("2026-11-14T20:00"):
        say(f"--at {said}: {times.shown_in_zone(moment, zone)}")
    return moment
