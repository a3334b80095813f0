"""Which frames to take, as a table and in words."""

from __future__ import annotations

from polarcheck.planning import ExpectedSigma, PlanCamera, SweepPlan, TrackedPlan
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.rough import hours_text
from polarcheck.report.text.words import utc_text

__all__ = ["plan_text", "tracked_plan_text"]

_POSITIONS = (
    Column("frame"),
    Column("turn"),
    Column("hour angle"),
    Column("azimuth\ndeg"),
    Column("altitude\ndeg"),
    Column("RA\nICRS", narrow="drop"),
    Column("Dec\nICRS", narrow="drop"),
)
_THREE = (Column("azimuth\narcmin"), Column("altitude\narcmin"), Column("on the sky\narcmin"))
_SIGMAS = (
    Column("one sigma", "<", "clip"),
    *_THREE,
    Column("sag in az\narcmin", narrow="drop"),
    Column("in alt\narcmin", narrow="drop"),
)
_AFTER = (Column("minutes"), Column("frames", narrow="drop"), *_THREE, Column("sag\narcmin"))


def plan_text(plan: SweepPlan) -> str:
    """Return a sweep, a frame a line."""
    return "\n\n".join([_headline(plan), _table(plan), _how(plan), _worth(plan)])


def _headline(plan: SweepPlan) -> str:
    site = plan.sky.site
    return wrapped(
        f"{len(plan.positions)} frames over {plan.arc_deg:.0f} deg of right ascension at declination "
        f"{plan.declination_deg:+.0f}, from {utc_text(plan.utc)} at latitude {site.latitude_deg:.3f}, longitude "
        f"{site.longitude_deg:.3f} deg ({site.source})."
    )


def _table(plan: SweepPlan) -> str:
    rows = [
        (
            f"{i + 1}",
            "go there" if i == 0 else f"{position.turn_deg:.0f} deg west",
            _hour_angle(position.axis_angle_deg),
            f"{position.azimuth_deg:.0f}",
            f"{position.altitude_deg:.0f}",
            hours_text(position.right_ascension_deg / 15),
            f"{position.icrs_declination_deg:+.1f}",
        )
        for i, position in enumerate(plan.positions)
    ]
    return table(_POSITIONS, rows)


def _hour_angle(angle_deg: float) -> str:
    minutes = round(abs(angle_deg) * 4)
    side = "" if minutes in (0, 720) else " W" if angle_deg > 0 else " E"
    return f"{minutes // 60}h{minutes % 60:02d}m{side or '  '}"


def _how(plan: SweepPlan) -> str:
    meridian = (
        "The tube passes the meridian on the way."
        if plan.crosses_meridian
        else "The tube stays on one side of the meridian."
    )
    return wrapped(
        "Clamp declination after the first frame's place is reached and leave it. Turn always westward, which keeps the gear "
        "on the flank that tracking uses; if you overshoot, go back well past and come again. Tracking on, let it settle, "
        f"expose. Azimuth: north 0, east 90. The places hold for frames 90 s apart. {meridian} Watch cables and tripod legs on "
        "the first turn."
    )


def _worth(plan: SweepPlan) -> str:
    rows = [
        (name, *_cells(sigma), _sag(sigma.sag_azimuth_arcmin), _sag(sigma.sag_altitude_arcmin))
        for name, sigma in (("this plan", plan.expected), ("the obvious choice", plan.obvious))
    ]
    south = "" if plan.sky.is_north else "-"
    said = f"The obvious choice: as many frames from 2 h east to 2 h west of the meridian at declination {south}60"
    reach = "." if plan.obvious_in_reach else "; it is not in reach here."
    return "\n".join([table(_SIGMAS, rows), wrapped(f"{said}{reach} {_basis(plan.camera)}", "  ")])


def _sag(arcmin: float | None) -> str:
    return "-" if arcmin is None or arcmin >= 10_000 else f"{arcmin:.2f}"


def _cells(sigma: ExpectedSigma) -> tuple[str, str, str]:
    return _number(sigma.azimuth_arcmin), _number(sigma.altitude_arcmin), _number(sigma.total_arcmin)


def _basis(camera: PlanCamera) -> str:
    noise = camera.noise_px * camera.scale_arcsec
    return (
        f"Expected for solutions good to {noise:.2g} arcsec ({camera.noise_px:g} px); with few frames measure states "
        f"more, since it has to learn the noise from them. Sag and creep of {camera.flexure_arcsec:g} arcsec may shift the "
        "answer besides."
    )


def tracked_plan_text(plan: TrackedPlan) -> str:
    """Return where to point a mount that only tracks, and how well the axis is known after how long."""
    site = plan.sky.site
    head = wrapped(
        f"A mount that only tracks, from {utc_text(plan.utc)} at latitude {site.latitude_deg:.3f}, longitude "
        f"{site.longitude_deg:.3f} deg ({site.source}): point once at declination {plan.declination_deg:+.0f}, hour angle "
        f"{_hour_angle(plan.axis_angle_deg).strip()} (azimuth {plan.azimuth_deg:.0f}, altitude {plan.altitude_deg:.0f} deg), "
        "then take a frame a minute, unguided and without dithering."
    )
    rows = [
        (f"{row.minutes}", f"{row.frames}", *_cells(row.expected), _sag(row.expected.sag_total_arcmin))
        for row in plan.rows
    ]
    goal = (
        f"An error on the sky of {plan.goal_arcmin:g} arcmin, sag counted, takes about {plan.minutes_to_goal:.0f} minutes."
        if plan.minutes_to_goal is not None
        else f"An error on the sky of {plan.goal_arcmin:g} arcmin, sag counted, is not reached while the field stays in reach."
    )
    foot = wrapped(
        f"{goal} The turn of the sky is all there is: 15 deg an hour. Near the pole it goes furthest. {_basis(plan.camera)} "
        "Periodic error does no harm: it is a turn about the axis, too."
    )
    return "\n\n".join([head, table(_AFTER, rows), foot])


def _number(value: float) -> str:
    return "-" if value >= 10_000 else f"{value:.3f}"
