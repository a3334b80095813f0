"""The measured axis on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.alignment import Alignment, AxisError, side_words
from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.measurement import FrameEntry, Measurement, SiteCost
from polarcheck.report.text.lines import Column, more_line, named_line, some_of, table, wrapped
from polarcheck.report.text.rounding import decimals_for, with_sigma
from polarcheck.report.text.words import clock_text, pole_words, utc_text

__all__ = ["error_table", "measurement_text"]

_MOST_ROWS = 30
_SEEN_ARCMIN = 0.005  # half of the last digit of an error
_ERRORS = (
    Column("arcmin", "<"),
    Column("off"),
    Column("", "<"),
    Column("noise"),
    Column("95 %"),
    Column("sag"),
    Column("the axis points", "<", "below"),
)
_FRAMES = (
    Column("frame", "<", "clip"),
    Column("mid-exposure\nUTC", narrow="drop"),
    Column("axis angle\ndeg"),
    Column("group"),
    Column("residual\narcsec"),
)


def measurement_text(result: Measurement, command: str | None = None) -> str:
    """Return the whole answer of ``polarcheck measure``; `command` is the next one, ready to paste."""
    parts = [
        _headline(result),
        _errors(result),
        _frames(result),
        _left_out(result),
        _limits(result),
        _next(result),
        command,
    ]
    return "\n\n".join(part for part in parts if part)


def _headline(result: Measurement) -> str:
    count, offered = len(result.used), len(result.used) + len(result.left_out)
    frames = f"{count} frames" if count == offered else f"{count} of {offered} frames"
    site = result.site
    return wrapped(
        f"Polar axis from {frames} over {result.fit.arc / DEGREE:.0f} deg of right ascension, as of "
        f"{utc_text(result.utc)} at latitude {site.latitude_deg:.3f}, longitude "
        f"{site.longitude_deg:.3f} deg ({site.source})."
    )


def error_table(alignment: Alignment, error: AxisError) -> str:
    """Return the two errors and the total with what makes them unsure, and in words.

    Digits and the number after the sign stop where the larger of noise and allowance does.
    """
    side, height = side_words(error.azimuth_arcmin, error.altitude_arcmin, alignment.site.is_north)
    azimuth, altitude, total = alignment.allowances_arcmin
    wide = (error.azimuth_95_arcmin, error.altitude_95_arcmin)
    sigma = (error.azimuth_sigma_arcmin, error.altitude_sigma_arcmin, error.total_sigma_arcmin)
    return table(
        _ERRORS,
        [
            _error_row("azimuth", error.azimuth_arcmin, (sigma[0], wide[0], azimuth), f"too far {side}"),
            _error_row("altitude", error.altitude_arcmin, (sigma[1], wide[1], altitude), f"too {height}"),
            _error_row(
                "total",
                error.total_arcmin,
                (sigma[2], None, total),
                f"from {pole_words(alignment.pole_kind)}",
            ),
        ],
    )


def _error_row(
    name: str, value: float, unsure: tuple[float, float | None, float], words: str
) -> Sequence[str]:
    sigma, wide, allowed = unsure
    shown, plus = with_sigma(abs(value), max(sigma, allowed))
    noise = with_sigma(0.0, sigma)[1]
    wider = "" if wide is None else f"{wide:.{decimals_for(sigma)}f}"
    return name, shown, f"± {plus}", noise, wider, with_sigma(0.0, allowed)[1], words


def _errors(result: Measurement) -> str:
    error, allowed = result.error, result.alignment.allowances_arcmin
    sky = f"{abs(error.azimuth_on_sky_arcmin):.{decimals_for(max(error.azimuth_sigma_arcmin, allowed[0]))}f}"
    return "\n".join(
        [
            error_table(result.alignment, error),
            "",
            wrapped(
                f"Azimuth is counted about the vertical, as the knob turns it (on the sky {sky} arcmin). Left so, "
                f"a star drifts by up to {error.largest_drift_arcsec_per_min:.2g} arcsec a minute.",
                "  ",
            ),
            wrapped(_other_pole(result) + " " + _place(result), "  "),
        ]
    )


def _other_pole(result: Measurement) -> str:
    other = result.other_error
    side, height = side_words(other.azimuth_arcmin, other.altitude_arcmin, result.site.is_north)
    allowed = result.alignment.allowances_arcmin
    azimuth, _ = with_sigma(abs(other.azimuth_arcmin), max(other.azimuth_sigma_arcmin, allowed[0]))
    altitude, _ = with_sigma(abs(other.altitude_arcmin), max(other.altitude_sigma_arcmin, allowed[1]))
    return f"From the {result.other_pole.kind} pole: {azimuth} arcmin {side}, {altitude} too {height}."


def _place(result: Measurement) -> str:
    """The axis on the sky, to an arcsecond (near the pole a second of right ascension is far less)."""
    right_ascension, declination = result.axis_icrs_deg
    seconds = round(right_ascension * 240) % 86400
    arcsec = round(abs(declination) * 3600)
    sign = "-" if declination < 0 else "+"
    ra = f"{seconds // 3600:02d}h{seconds // 60 % 60:02d}m{seconds % 60:02d}s"
    dec = f"{sign}{arcsec // 3600:02d}d{arcsec // 60 % 60:02d}'{arcsec % 60:02d}\""
    return f"The axis stands at RA {ra}, Dec {dec} (ICRS)."


def _frames(result: Measurement) -> str:
    used = result.used
    several = len({entry.group for entry in used}) > 1
    columns = [column for column in _FRAMES if several or column.title != "group"]
    rows = [_row(entry, several) for entry in used[:_MOST_ROWS]]
    lines = [table(columns, rows)]
    if len(used) > _MOST_ROWS:
        lines.append(more_line(len(used) - _MOST_ROWS))
    lines.append(wrapped(f"root mean square of all: {result.residual_rms_arcsec:.2f} arcsec", "  "))
    return "\n".join(lines)


def _row(entry: FrameEntry, several: bool) -> tuple[str, ...]:
    clock = clock_text(entry.utc, seconds=True) if entry.utc else ""
    group = (str(entry.group),) if several else ()
    return entry.name, clock, f"{entry.axis_angle_deg or 0:+.1f}", *group, f"{entry.residual_arcsec or 0:.2f}"


def _left_out(result: Measurement) -> str:
    left = result.left_out
    said = [named_line(entry.name, str(entry.reason)) for entry in left]
    lines = [f"Left out: {len(left)}", *some_of(said, _MOST_ROWS)] if left else []
    beside = sum(entry.is_sidecar for entry in result.entries)
    if beside:
        files = (
            "1 file holds a solution or a copy" if beside == 1 else f"{beside} files hold solutions or copies"
        )
        lines.append(wrapped(f"{files} of these frames (named with --json)."))
    return "\n".join(lines)


def _limits(result: Measurement) -> str:
    cost = result.site_cost
    basis = (
        f"from the residuals, {result.fit.degrees_of_freedom} degrees of freedom"
        if result.fit.degrees_of_freedom
        else "from an assumed noise"
    )
    return "\n".join(
        [
            wrapped(f"Noise is that of the solutions ({basis}). {_flexure(result)}"),
            wrapped(
                f"A longitude off by 1 deg (or a clock by 4 min) would turn the result by "
                f"{cost.longitude_arcmin_per_deg:.2f} arcmin, a latitude off by 1 deg by "
                f"{cost.latitude_arcmin_per_deg:.2f}."
            ),
            *_air(cost),
        ]
    )


def _air(cost: SiteCost) -> list[str]:
    """What the air may cost, where it can be seen beside hundredths of an arcminute."""
    costs = (cost.pressure_arcmin_per_10hpa, cost.temperature_arcmin_per_10deg, cost.humidity_arcmin_per_half)
    if max(costs) < _SEEN_ARCMIN:
        return []
    return [
        wrapped(
            f"Air other than assumed would move it: 10 hPa by {costs[0]:.3f} arcmin, 10 deg C by {costs[1]:.3f}, humidity "
            f"off by 0.5 by {costs[2]:.3f}."
        )
    ]


def _flexure(result: Measurement) -> str:
    """What is allowed for beside the noise, and the creep that was found."""
    allowed, creep = result.systematic, result.creep
    size = f"{allowed.allowance_arcsec:g} arcsec ({_SOURCES[allowed.source]})"
    if creep is None:
        return (
            f"Sag is what {size} of sag, and of creep during the sweep, may do: neither shows in the residuals. One "
            "more frame back at the first position measures the creep."
        )
    return (
        f"Sag is what {size} of it may do: it does not show in the residuals. Creep does, since a frame was taken "
        f"back: the declination crept by {creep.amount / ARCSEC:+.1f} ± {creep.sigma / ARCSEC:.1f} arcsec towards "
        "the pole from first frame to last, and the answer is free of it if it was steady."
    )


_SOURCES = {"rig file": "from the rig file", "assumed": "assumed; rig file: flexure_arcsec"}


def _next(result: Measurement) -> str:
    swing = _swing(result)
    tilt = _tilt(result, "it" if swing else "the axis")
    moves = " and ".join(move for move in (swing, tilt) if move)
    if moves:
        text = f"Next: {moves}, hold the load while a bolt is loose, clamp, and measure again."
    else:
        text = "Next: nothing to turn by this answer: both errors lie within what noise (95 %) and sag allow."
    if moves and not (swing and tilt):
        text += (
            f" The error in {'altitude' if swing else 'azimuth'} lies within what noise (95 %) and sag allow."
        )
    step = result.next_step
    if step and (step.is_worth_a_frame or not result.fit.degrees_of_freedom):
        side = "west" if step.turn_deg > 0 else "east"
        text += (
            f" To narrow this answer, leave declination clamped, turn the mount {abs(step.turn_deg):.0f} deg {side} in "
            f"right ascension (the camera then looks to azimuth {step.azimuth_deg:.0f}, altitude "
            f"{step.altitude_deg:.0f} deg) and add a frame: the larger sigma would fall from {step.sigma_now_arcmin:.2g} "
            f"to {step.sigma_then_arcmin:.2g} arcmin."
        )
    return wrapped(text)


def _swing(result: Measurement) -> str:
    """What to do in azimuth, where the error stands clear of its uncertainty."""
    error, north = result.error, result.site.is_north
    allowed, _, _ = result.alignment.allowances_arcmin
    if not result.alignment.stands_clear[0]:
        return ""
    side, _ = side_words(-error.azimuth_arcmin, 0.0, north)
    hand = "right" if (side == "east") == north else "left"
    move = _by_hand(error.azimuth_arcmin, max(error.azimuth_sigma_arcmin, allowed))
    return f"swing the axis {move} arcmin {side} ({hand}, facing the pole)"


def _tilt(result: Measurement, what: str) -> str:
    """What to do in altitude, likewise."""
    error = result.error
    _, allowed, _ = result.alignment.allowances_arcmin
    if not result.alignment.stands_clear[1]:
        return ""
    move = _by_hand(error.altitude_arcmin, max(error.altitude_sigma_arcmin, allowed))
    return f"{'lower' if error.altitude_arcmin > 0 else 'raise'} {what} by {move} arcmin"


def _by_hand(move: float, sigma: float) -> str:
    """A move as a hand can make it: a tenth of an arcminute at the finest."""
    return f"{abs(move):.{min(decimals_for(sigma), 1)}f}"
