"""The evening's events, a line each, where nothing can be redrawn: pipes, files, old terminals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from polarcheck import night, watch
from polarcheck.report.text.rounding import with_sigma

if TYPE_CHECKING:
    from polarcheck.followup import FollowedSchema
    from polarcheck.measurement import MeasurementSchema

__all__ = ["event_line", "standing_line"]


def event_line(event: night.Event, view: watch.EveningSchema) -> str:
    """Return one line about an event.

    Parameters
    ----------
    event : Event
        Its texts are printable.
    view : EveningSchema
        The state after it; says what to do.
    """
    return f"{event.time_utc[11:19]} UTC  {_said(event, view)}"


def standing_line(view: watch.EveningSchema) -> str:
    """Return one line about how the night stands, for the terminal after the watch has left it."""
    if view.axis is None:
        return "No finding of the axis so far."
    total, sigma = with_sigma(view.axis.total_arcmin, view.axis.total_sigma_arcmin)
    return f"{total} ± {sigma} arcmin from the pole. {view.now.sentence}"


def _said(event: night.Event, view: watch.EveningSchema) -> str:
    if isinstance(event, night.MeasuredEvent):
        return f"measured: {_error(event.result)}"
    if isinstance(event, night.FollowedEvent):
        return f"after the turn: {_error(event.result)}"
    if isinstance(event, night.AdviceEvent):
        return f"now: {view.now.sentence} {view.now.why}".rstrip()
    if isinstance(event, night.TurnedEvent):
        azimuth, altitude = event.turned
        how = "as told" if event.as_told else "as answered or seen"
        return f"turned: azimuth {azimuth:+.2f}, altitude {altitude:+.2f} turns, clockwise positive, {how}"
    if isinstance(event, night.RefusedEvent):
        return f"refused: {', '.join(event.inputs)}: {event.reason}"
    if isinstance(event, night.CheckedEvent):
        long = "" if event.elongation is None else f", star elongation {event.elongation:.2f}"
        return f"target: {event.frames} frames{_drift(event)}{long}"
    return f"moved: {event.reason}" if isinstance(event, night.MovedEvent) else "something happened"


def _error(result: MeasurementSchema | FollowedSchema) -> str:
    error = result.error
    total, sigma = with_sigma(error.total_arcmin, error.total_sigma_arcmin)
    used = sum(frame.used for frame in result.frames)
    return (
        f"{total} ± {sigma} arcmin from the pole (azimuth {error.azimuth_arcmin:+.2f}, altitude "
        f"{error.altitude_arcmin:+.2f}), {used} frame{'' if used == 1 else 's'}"
    )


def _drift(event: night.CheckedEvent) -> str:
    if event.drift_arcsec_per_min is None:
        return ""
    east, north = event.drift_arcsec_per_min
    return f", drift {east:+.2f} east, {north:+.2f} north arcsec/min"
