"""What the page says of a night, in sentences and rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from polarcheck.alignment import Alignment, side_words
from polarcheck.digest import Finding, FrameRow, NightDigest, TargetDigest, Tracked
from polarcheck.followup import CorrectionSchema
from polarcheck.knobs import Correction
from polarcheck.measurement import MeasurementSchema
from polarcheck.report.text.correction import (
    TURN_CAUTION,
    frames_lines,
    loose_text,
    move_text,
    sentence,
    tripod_text,
    unknown_lines,
    verdict_text,
)
from polarcheck.report.text.followup import UNSEEN
from polarcheck.report.text.rounding import decimals_for, with_sigma
from polarcheck.report.text.words import counted, length_text, pole_words, rig_words, signed, utc_text
from polarcheck.times import iso_from_utc, seconds_between, utc_from_iso

__all__ = [
    "ErrorRow",
    "Todo",
    "error_rows",
    "finding_row",
    "headline",
    "meaning",
    "standing_text",
    "star_words",
    "target_rows",
    "todo",
    "told_place",
]


def flat(lines: str | Iterable[str]) -> str:
    """Return a wrapped text on one line."""
    return " ".join((lines if isinstance(lines, str) else " ".join(lines)).split())


def moment(utc: tuple[float, float]) -> str:
    """Return a date and a time of day to the minute."""
    return f"{iso_from_utc(utc)[:16].replace('T', ' ')} UTC"


def plus(value: float, decimals: int = 2) -> str:
    """Return a number with its sign, a true minus."""
    return signed(value, decimals).replace("-", "−")


def headline(alignment: Alignment, *, is_so: bool = True) -> str:
    """Return the answer in one sentence, in the past where it is no longer so."""
    error, allowed = alignment.error, alignment.allowances_arcmin
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, alignment.site.is_north)
    azimuth, _ = with_sigma(abs(error.azimuth_arcmin), max(error.azimuth_sigma_arcmin, allowed[0]))
    altitude, _ = with_sigma(abs(error.altitude_arcmin), max(error.altitude_sigma_arcmin, allowed[1]))
    verb = "points" if is_so else "pointed"
    return f"The axis {verb} {azimuth} arcmin too far {side} and {altitude} arcmin too {height}"


@dataclass(frozen=True, slots=True)
class ErrorRow:
    """One line of the answer.

    Attributes
    ----------
    name, value, unsure, noise, wide, sag, words : str
        Which; arcminutes; their uncertainty in all; by noise, 68 and 95 %; by sag and creep; in words.
    """

    name: str
    value: str
    unsure: str
    noise: str
    wide: str
    sag: str
    words: str


def error_rows(alignment: Alignment) -> list[ErrorRow]:
    """Return azimuth, altitude and total with what makes them unsure."""
    error = alignment.error
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, alignment.site.is_north)
    azimuth, altitude, total = alignment.allowances_arcmin
    return [
        _error_row(
            "azimuth",
            error.azimuth_arcmin,
            (error.azimuth_sigma_arcmin, error.azimuth_95_arcmin, azimuth),
            f"too far {side}",
        ),
        _error_row(
            "altitude",
            error.altitude_arcmin,
            (error.altitude_sigma_arcmin, error.altitude_95_arcmin, altitude),
            f"too {height}",
        ),
        _error_row(
            "total",
            error.total_arcmin,
            (error.total_sigma_arcmin, None, total),
            f"from {pole_words(alignment.pole_kind)}",
        ),
    ]


def _error_row(name: str, value: float, unsure: tuple[float, float | None, float], words: str) -> ErrorRow:
    sigma, wide, allowed = unsure
    shown, plus = with_sigma(abs(value), max(sigma, allowed))
    wider = "" if wide is None else f"{wide:.{decimals_for(sigma)}f}"
    return ErrorRow(name, shown, plus, with_sigma(0.0, sigma)[1], wider, with_sigma(0.0, allowed)[1], words)


@dataclass(frozen=True, slots=True)
class Todo:
    """What is left to do.

    Attributes
    ----------
    verdict, why : str
        In one sentence each.
    steps : tuple of str
        The moves, in order, and the frames to take.
    notes : tuple of str
        What the moves rest on.
    caution : str
        Empty where no knob is to be turned.
    """

    verdict: str
    why: str
    steps: tuple[str, ...]
    notes: tuple[str, ...]
    caution: str


def todo(night: NightDigest) -> Todo | None:
    """Return what is left to do; None where the mount no longer stands as found."""
    correction, alignment = night.correction, night.last.alignment
    if correction is None:
        return None
    north, advice = alignment.site.is_north, correction.next
    is_turn = advice.action == "turn"
    steps = _moves(correction, north) if is_turn else []
    steps += frames_lines(advice) if advice.frames_deg else []
    notes = unknown_lines(correction, night.rig) if is_turn else []
    notes += [loose_text(correction, north)] if alignment.is_loose else []
    notes += [f"Knobs as in the {rig_words(night.rig)}."] if night.rig and is_turn else []
    return Todo(
        verdict_text(correction),
        sentence(advice.why),
        tuple(flat(step) for step in steps),
        tuple(flat(note) for note in notes),
        TURN_CAUTION if is_turn else "",
    )


def _moves(correction: Correction, north: bool) -> list[str]:
    steps = []
    for number, move in enumerate(correction.moves, 1):
        steps.append(flat(move_text(number, move, north)).removeprefix(f"{number}. "))
        steps += [tripod_text(move, north)] if move.beyond_travel_arcmin else []
    return steps


def standing_text(night: NightDigest) -> str:
    """Return what must be said where the mount no longer stands as found; empty where it does."""
    if night.standing == "moved since":
        return (
            "The mount was moved after this. Nobody knows how it stands now: the numbers here are of before, and a new "
            "sweep is needed."
        )
    if night.standing == "turned since":
        azimuth, altitude = night.turned_since or (0.0, 0.0)
        return (
            f"After this the knobs were turned: azimuth {signed(azimuth)}, altitude {signed(altitude)} turns, clockwise "
            "positive. No frame shows what came of it: the numbers here are of before that turn."
        )
    return ""


def told_place(night: NightDigest) -> str:
    """Return where the mount stood, and in what air."""
    sky = night.last.alignment.sky
    site, air = sky.site, sky.air
    north, east = (
        ("north" if site.latitude_deg >= 0 else "south"),
        ("east" if site.longitude_deg >= 0 else "west"),
    )
    refraction = (
        f"air of {air.pressure_hpa:.0f} hPa and {air.temperature_c:.0f} °C"
        if air.pressure_hpa
        else "without refraction"
    )
    return (
        f"Latitude {abs(site.latitude_deg):.3f}° {north}, longitude {abs(site.longitude_deg):.3f}° {east}, "
        f"{site.height_m:.0f} m ({site.source}); {refraction}."
    )


def meaning(night: NightDigest) -> list[str]:
    """Return what the answer means, and how it came about."""
    alignment, result = night.last.alignment, night.last.step.result
    error, allowed = alignment.error, alignment.systematic
    said = [
        f"Azimuth is counted about the vertical, as the knob turns it; on the sky it is "
        f"{abs(error.azimuth_on_sky_arcmin):.2f} arcmin. Left so, a star drifts by up to "
        f"{error.largest_drift_arcsec_per_min:.2g} arcsec a minute while the mount tracks unguided."
    ]
    freedom = alignment.degrees_of_freedom
    basis = (
        f"from the residuals, with {freedom} degrees of freedom"
        if freedom
        else "assumed, since the frames leave nothing over to judge by"
    )
    said.append(f"The noise is that of the plate solutions, {basis}.")
    if allowed:
        source = "from the rig file" if allowed.source == "rig file" else "assumed"
        said.append(
            f"Sag and creep: what {allowed.allowance_arcsec:g} arcsec of them ({source}) may do. They do not show in the "
            "residuals, so they stand beside the noise."
        )
    if isinstance(result, MeasurementSchema):
        said += [_other_pole(result, alignment), _from_frames(result)]
    elif not result.sees_camera:
        said.append(UNSEEN)
    return said


def _other_pole(result: MeasurementSchema, alignment: Alignment) -> str:
    other = result.other_pole.error
    side, height = side_words(other.azimuth_arcmin, other.altitude_arcmin, alignment.site.is_north)
    return (
        f"From the {result.other_pole.kind} pole it is {abs(other.azimuth_arcmin):.2f} arcmin too far {side} and "
        f"{abs(other.altitude_arcmin):.2f} too {height}."
    )


def _from_frames(result: MeasurementSchema) -> str:
    fit, cost = result.fit, result.site_cost
    return (
        f"It comes from {counted(fit.frames_used, 'frame')} over {fit.arc_deg:.0f}° of right ascension, with residuals of "
        f"{fit.residual_rms_arcsec:.2f} arcsec (root mean square). A clock off by a minute would turn it by "
        f"{cost.clock_arcmin_per_min:.2f} arcmin, a latitude off by a degree by {cost.latitude_arcmin_per_deg:.2f}."
    )


def finding_row(number: int, finding: Finding, *, is_followed: bool) -> dict[str, str]:
    """Return a line of the night's table; `is_followed` where another finding comes after it."""
    step, error = finding.step, finding.alignment.error
    allowed = finding.alignment.allowances_arcmin
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, finding.alignment.site.is_north)
    azimuth = with_sigma(abs(error.azimuth_arcmin), max(error.azimuth_sigma_arcmin, allowed[0]))
    altitude = with_sigma(abs(error.altitude_arcmin), max(error.altitude_sigma_arcmin, allowed[1]))
    total = with_sigma(error.total_arcmin, max(error.total_sigma_arcmin, allowed[2]))
    return {
        "number": str(number),
        "time": utc_text(step.utc)[11:19],
        "how": f"{_way(finding)}, {counted(step.frames, 'frame')}",
        "azimuth": f"{azimuth[0]} ± {azimuth[1]} {side}",
        "altitude": f"{altitude[0]} ± {altitude[1]} {height}",
        "total": f"{total[0]} ± {total[1]}",
        "advised": "not asked" if step.advice is None else _advised(step.advice),
        "done": _done(finding, is_followed),
    }


def _way(finding: Finding) -> str:
    result = finding.step.result
    if not isinstance(result, MeasurementSchema):
        return "after a turn"
    return "sweep" if result.fit.lasting is None else "tracked sequence"


def _advised(advice: CorrectionSchema) -> str:
    if advice.next.action == "stop":
        return "leave it"
    if advice.next.action == "frames":
        return f"take {counted(len(advice.next.frames), 'frame')} first"
    told = []
    for move in advice.moves:
        if move.is_idle:
            continue
        sense = f" {move.sense}" if move.sense else ""
        turns = f" = {move.turns:.2f} turns{sense}" if move.turns is not None else ""
        told.append(f"{move.knob} {abs(move.move_arcmin):.1f} arcmin {move.direction}{turns}")
    return "; ".join(told) or "move the tripod"


def _done(finding: Finding, is_followed: bool) -> str:
    step = finding.step
    if step.turned is None:
        return "nobody said" if is_followed else "not since"
    azimuth, altitude = step.turned
    as_told = ", taken as advised" if step.as_told else ""
    return f"azimuth {plus(azimuth)}, altitude {plus(altitude)} turns{as_told}"


def star_words(row: FrameRow) -> str:
    """Return the state of a frame's stars in a few words."""
    seen = row.stars
    if seen is None:
        return "stars not looked at"
    if seen.summary is None:
        return f"stars unknown: {seen.reason}"
    stars = seen.summary
    if not stars.stars:
        return f"no stars found{f': {seen.reason}' if seen.reason else ''}"
    width = "width unknown" if stars.fwhm_px is None else f"{stars.fwhm_px:.1f} px wide"
    if seen.fwhm_arcsec is not None:
        width += f" ({seen.fwhm_arcsec:.1f}″)"
    long = "elongation unknown" if stars.elongation is None else f"elongation {stars.elongation:.2f}"
    moved = "; the mount still moved" if stars.has_moved else ""
    return f"{counted(stars.stars, 'star')}, {width}, {long}{moved}"


_BY = {
    "drift": "drift",
    "rotation": "field rotation",
    "refraction": "refraction",
    "periodic error": "periodic error",
    "6 h": "none in 6 h",
    "sets": "the target sets",
}


def target_rows(told: TargetDigest) -> list[tuple[str, str]]:
    """Return the drift of a target, predicted and seen, as names and texts."""
    return [*_predicted(told), *_seen(told)]


def _predicted(told: TargetDigest) -> list[tuple[str, str]]:
    drift = told.drift
    if drift is None:
        return []
    rates, sigma = drift.rates, drift.rates_sigma
    east = _with(rates.east_arcsec_per_min, None if sigma is None else sigma.east_arcsec_per_min)
    north = _with(rates.north_arcsec_per_min, None if sigma is None else sigma.north_arcsec_per_min)
    end = (drift.east_arcsec[-1], drift.north_arcsec[-1], drift.rotation_arcsec[-1])
    return [
        ("drift, unguided", f"{east} east, {north} north arcsec/min"),
        ("field rotation", f"{plus(rates.rotation_arcsec_per_min)} arcsec/min"),
        (
            f"after {length_text(float(drift.seconds[-1]))}",
            f"{plus(end[0], 1)} east, {plus(end[1], 1)} north, {plus(end[2], 1)} arcsec of rotation",
        ),
    ]


def _seen(told: TargetDigest) -> list[tuple[str, str]]:
    seen = told.seen
    if seen is None:
        return []
    east, north, turn = (float(value) for value in seen.rates_arcsec_per_min)
    less, more = seen.rate_excess_arcsec_per_min, seen.rate_excess_sigma
    guided = "; a guider held it" if seen.is_guided else ""
    return [
        (
            "seen in its frames",
            f"{plus(east)} east, {plus(north)} north arcsec/min, rotation {plus(turn, 1)}{guided}",
        ),
        (
            "seen less predicted",
            f"{_with(less[0], more[0])} east, {_with(less[1], more[1])} north arcsec/min, rotation "
            f"{_with(less[2], more[2])}",
        ),
    ]


def _with(value: float, sigma: float | None) -> str:
    """A signed number with its standard error, where there is one."""
    if sigma is None:
        return plus(float(value))
    return f"{plus(float(value), max(decimals_for(float(sigma)), 2))} ± {max(float(sigma), 0.001):.2g}"


def limit_words(tracked: Tracked | None, *, sure: bool = False) -> str:
    """Return the longest exposure for one pixel, or that there is none."""
    if tracked is None:
        return "unknown"
    exposure = tracked.exposure
    limit = exposure.limit_s_95 if sure else exposure.limit_s
    if limit is not None:
        return length_text(limit)
    if sure and not exposure.is_endless_95:
        return "unknown"
    return f"no limit ({length_text(exposure.available_s)} left)"


def cause_words(tracked: Tracked | None) -> str:
    """Return what limits it."""
    return "unknown" if tracked is None else _BY[tracked.exposure.limited_by]


def times_of(night: NightDigest) -> str:
    """Return from when to when the night's findings reach."""
    first, last = night.findings[0].step.utc, night.last.step.utc
    if seconds_between(first, last) < 60:
        return moment(last)
    return f"{moment(first)} to {moment(last)}"


def clock_of(row: FrameRow) -> str:
    """Return the time of day of a frame, or that it is not known."""
    return "time unknown" if row.time_utc is None else utc_text(utc_from_iso(row.time_utc))[11:19]
