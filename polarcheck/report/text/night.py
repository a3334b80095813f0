"""Nights on a terminal."""

from __future__ import annotations

from polarcheck.alignment import side_words
from polarcheck.night import KnobOverNights, MeanOverNights, Nights, NightShift, NightStep, OneNight
from polarcheck.printable import printable
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import clock_text, counted, plain
from polarcheck.times import iso_from_utc

__all__ = ["night_text", "taken_text", "turned_words"]

_COLUMNS = (
    Column("UTC", "<"),
    Column("frames"),
    Column("azimuth\narcmin"),
    Column("altitude\narcmin"),
    Column("total\narcmin"),
    Column("then", "<", narrow="below"),
)
_SHIFTS = (Column("to the night of", "<"), Column("azimuth\narcmin"), Column("altitude\narcmin"))


def night_text(nights: Nights) -> str:
    """Return the whole answer of ``polarcheck night``."""
    parts = [part for night in nights.nights for part in _night(night)]
    if len(nights.nights) > 1:
        parts += _between(nights)
    parts += [_keep(knob) for knob in nights.knobs]
    return "\n\n".join(part for part in parts if part)


def turned_words(turned: tuple[float, float]) -> str:
    """Return turns of both knobs: ``azimuth 0.41 turns counterclockwise, altitude none``."""
    return ", ".join(
        f"{knob} {_turns(turns)}" for knob, turns in zip(("azimuth", "altitude"), turned, strict=True)
    )


def taken_text(turned: tuple[float, float]) -> str:
    """Return what counts as turned, nobody having said otherwise."""
    if turned == (0.0, 0.0):
        return "No knob counts as turned, as was told; --turned tells otherwise."
    return f"Counted as turned, as was told: {turned_words(turned)}. --turned tells otherwise."


def _turns(turns: float) -> str:
    if round(turns, 2) == 0:
        return "none" if turns == 0 else "under 0.01 turns"
    count = plain(abs(turns), 2)
    return (
        f"{count} {'turn' if count == '1.00' else 'turns'} {'clockwise' if turns > 0 else 'counterclockwise'}"
    )


def _date(night: OneNight) -> str:
    return iso_from_utc(night.first.utc)[:10]


def _night(night: OneNight) -> list[str]:
    steps, account = night.account.steps, night.account
    where = ", ".join(printable(folder) for folder in night.folders)
    aside = [counted(account.refused, "refusal")] if account.refused else []
    aside += [counted(account.checked, "look") + " at the target"] if account.checked else []
    head = f"Night of {_date(night)}, {where}: {', '.join([counted(len(steps), 'finding'), *aside])}."
    rows = [_row(step, is_last=step is steps[-1]) for step in steps]
    return [wrapped(head), table(_COLUMNS, rows), _outcome(night)]


def _row(step: NightStep, *, is_last: bool) -> tuple[str, ...]:
    error = step.error
    values = (
        (error.azimuth_arcmin, error.azimuth_sigma_arcmin),
        (error.altitude_arcmin, error.altitude_sigma_arcmin),
        (error.total_arcmin, error.total_sigma_arcmin),
    )
    numbers = [" ± ".join(with_sigma(*value)) for value in values]
    count = f"{step.frames} {'anew' if step.is_fresh else 'more'}"
    return (clock_text(step.utc), count, *numbers, _then(step, is_last=is_last))


def _then(step: NightStep, *, is_last: bool) -> str:
    """Say what was told and what was done about it."""
    said = []
    if step.advice is not None:
        said.append(f"told: {_told(step)}")
    if step.turned is not None:
        done = "as told" if step.as_told else turned_words(step.turned)
        said.append(f"done: {done}{' (nobody said otherwise)' if step.as_told else ''}")
    elif not is_last and not step.then_moved:
        said.append("what was done nobody said")
    if step.then_moved:
        said.append("then the mount was moved")
    return "; ".join(said)


def _told(step: NightStep) -> str:
    advice = step.advice
    assert advice is not None
    if advice.next.action == "stop":
        return "stop"
    if advice.next.action == "frames":
        return "no turn, more frames"
    left = advice.next.expected_left_arcmin
    turns = turned_words(step.advised) if step.advised else "turn both knobs, by amounts not known in turns"
    return turns + ("" if left is None else f", to leave about {left:.2g}")


def _outcome(night: OneNight) -> str:
    first, last = night.first, night.last
    if first is last:
        return ""
    before, after = first.error, last.error
    text = f"From {before.total_arcmin:.1f} to {after.total_arcmin:.2f} arcmin."
    for knob in night.learned:
        gain, sigma = with_sigma(knob.arcmin_per_turn, knob.arcmin_per_turn_sigma)
        play = "" if knob.backlash_turns is None else f", play {knob.backlash_turns:.2f} turns"
        text += f" The {knob.name} knob moved {gain} ± {sigma} arcmin a turn, clockwise {knob.clockwise_moves}{play}."
    if night.learned and night.is_assumed:
        text += " That counts turns as made which were only told."
    return wrapped(text)


def _between(nights: Nights) -> list[str]:
    rows = [
        (_date(night), *_moved(shift)) for night, shift in zip(nights.nights[1:], nights.shifts, strict=True)
    ]
    head = "How the axis moved from the last finding of a night to the first of the next:"
    parts = [wrapped(head), table(_SHIFTS, rows)]
    north = nights.nights[-1].last.result.site.latitude_deg >= 0
    if all(nights.mean_shift):
        parts.append(wrapped(f"Mean of {_means(nights.mean_shift)}"))
    if all(nights.mean_start):
        parts.append(
            wrapped(f"As first found, {_means(nights.mean_start)} {_advice(nights, north)}".rstrip())
        )
    else:
        parts.append(wrapped("A mean, and whether it is steady, takes three nights."))
    return parts


def _moved(shift: NightShift | None) -> tuple[str, str]:
    if shift is None:
        return "another place", ""
    return (
        " ± ".join(with_sigma(shift.azimuth_arcmin, shift.azimuth_sigma_arcmin)),
        " ± ".join(with_sigma(shift.altitude_arcmin, shift.altitude_sigma_arcmin)),
    )


def _means(means: tuple[MeanOverNights | None, MeanOverNights | None]) -> str:
    azimuth, altitude = means
    assert azimuth is not None
    assert altitude is not None
    said = [
        f"{name} {' ± '.join(with_sigma(mean.value, mean.sigma))} arcmin (scatter {mean.scatter:.2g})"
        for name, mean in (("azimuth", azimuth), ("altitude", altitude))
    ]
    return f"{azimuth.count}: {', '.join(said)}."


def _advice(nights: Nights, north: bool) -> str:
    """Say what to do differently when setting up, where that is steady."""
    azimuth, altitude = nights.mean_start
    assert azimuth is not None
    assert altitude is not None
    side, height = side_words(azimuth.value, altitude.value, north)
    said = [f"too far {side}"] if azimuth.is_steady else []
    said += [f"too {height}"] if altitude.is_steady else []
    if not said:
        return "Neither is steady: nothing to set otherwise next time."
    return f"Steadily {' and '.join(said)}: set it up by so much the other way next time."


def _keep(knob: KnobOverNights) -> str:
    gain, sigma = with_sigma(knob.arcmin_per_turn, knob.sigma)
    nights = counted(knob.nights, "night")
    text = f"To keep: {knob.name} knob {gain} ± {sigma} arcmin a turn, clockwise {knob.clockwise_moves}, from {nights}. "
    if not knob.agree:
        return wrapped(
            text + "The nights disagree by more than their sigmas: a knob that slips, or turns told wrong."
        )
    return wrapped(text + "correct --keep-response writes what the last night taught into the rig file.")
