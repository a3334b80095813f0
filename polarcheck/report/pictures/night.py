"""Nights as a picture: how the error shrank, what each turn was told to leave, and what was turned."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from polarcheck.night import Nights, NightStep
from polarcheck.report.pictures.canvas import (
    DIM,
    HEAD_PT,
    INK,
    LINES,
    PALE,
    STRONG,
    TEXT_PT,
    WIDTH_IN,
    dress,
    halo,
    new_figure,
    own_style,
    save,
)
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import clock_text
from polarcheck.times import iso_from_utc

__all__ = ["save_night_picture"]

_GAP = 1.0  # between nights, in findings
_LEAST_ARCMIN = 0.02  # below it a total is drawn there: the scale is logarithmic
_MOST_TIMES = 8  # written below the findings
_KNOBS = ("azimuth", "altitude")


@own_style()
def save_night_picture(nights: Nights, path: Path) -> None:
    """Draw nights and save them; the format follows the file's ending (.png or .svg).

    Raises
    ------
    InputError
        The file cannot be written.
    """
    figure = new_figure(WIDTH_IN, 8.4)
    upper, *lower = figure.subplots(3, 1, sharex=True, height_ratios=(3.2, 1.5, 1.5))
    for axes in (upper, *lower):
        dress(axes)
    steps = _placed(nights)
    _draw_errors(upper, steps, nights)
    for knob, axes in enumerate(lower):
        _draw_turns(axes, steps, knob)
        axes.set_ylabel(f"{_KNOBS[knob]},\nturns")
    _write_times(lower[-1], [step for night in steps for step in night])
    handles = upper.get_legend_handles_labels()
    figure.legend(
        *handles, loc="outside lower center", ncols=2, frameon=False, labelcolor=INK, fontsize=TEXT_PT
    )
    figure.suptitle(_title(nights), color=INK, fontsize=HEAD_PT)
    save(figure, path)


def _placed(nights: Nights) -> list[list[tuple[float, NightStep]]]:
    """Each night's findings with their places from left to right."""
    placed, place = [], 0.0
    for night in nights.nights:
        placed.append([(place + i, step) for i, step in enumerate(night.account.steps)])
        place += len(night.account.steps) + _GAP
    return placed


def _draw_errors(axes: Any, steps: list[list[tuple[float, NightStep]]], nights: Nights) -> None:
    axes.set_yscale("log")
    for number, (night, one) in enumerate(zip(steps, nights.nights, strict=True)):
        first = number == 0
        places = [place for place, _ in night]
        totals = [max(step.error.total_arcmin, _LEAST_ARCMIN) for _, step in night]
        least = [
            max(t - s.error.total_sigma_arcmin, _LEAST_ARCMIN / 2)
            for t, (_, s) in zip(totals, night, strict=True)
        ]
        most = [t + s.error.total_sigma_arcmin for t, (_, s) in zip(totals, night, strict=True)]
        axes.plot(
            places,
            totals,
            color=INK,
            linewidth=1.2,
            marker="o",
            markersize=6,
            label="found" if first else None,
        )
        axes.vlines(places, least, most, color=STRONG, linewidth=2.4, label="± sigma" if first else None)
        _draw_expected(axes, night, is_first=first)
        if len(nights.nights) > 1:
            axes.annotate(
                iso_from_utc(one.first.utc)[5:10],
                (places[0], totals[0]),
                (0, 10),
                textcoords="offset points",
                color=PALE,
                fontsize=TEXT_PT,
                ha="left",
                path_effects=halo(),
            )
    low, high = axes.get_ylim()
    axes.set_ylim(low, high * 1.6)  # room for the dates
    axes.set_ylabel("total error, arcmin")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")


def _draw_expected(axes: Any, night: list[tuple[float, NightStep]], *, is_first: bool) -> None:
    """What each turn was expected to leave stands where the next finding does."""
    told = [
        (place + 1, step.advice.next.expected_left_arcmin)
        for place, step in night
        if step.advice is not None
        and step.advice.next.action == "turn"
        and step.advice.next.expected_left_arcmin is not None
    ]
    goals = [step.advice.goal.arcmin for _, step in night if step.advice is not None]
    if told:
        axes.plot(
            *zip(*told, strict=True),
            linestyle="",
            marker="_",
            markersize=18,
            markeredgewidth=2,
            color=PALE,
            label="expected after the turn" if is_first else None,
        )
    if goals:
        ends = (night[0][0] - 0.4, night[-1][0] + 0.4)
        axes.plot(
            ends,
            [goals[-1]] * 2,
            color=DIM,
            linewidth=1.6,
            linestyle=(0, (6, 2)),
            label="goal" if is_first else None,
        )


def _draw_turns(axes: Any, steps: list[list[tuple[float, NightStep]]], knob: int) -> None:
    """Told: an open bar; done: a full one in it, pale where it is only taken as told."""
    axes.axhline(0, color=DIM, linewidth=0.8)
    for place, step in (pair for night in steps for pair in night):
        if step.advised is not None and step.advised[knob]:
            axes.bar(place + 0.5, step.advised[knob], 0.5, facecolor="none", edgecolor=INK, linewidth=1.4)
        if step.turned is not None and step.turned[knob]:
            colour = LINES[3] if step.as_told else LINES[1]
            axes.bar(place + 0.5, step.turned[knob], 0.28, color=colour)
    axes.margins(y=0.15)


def _write_times(axes: Any, steps: list[tuple[float, NightStep]]) -> None:
    every = -(-len(steps) // _MOST_TIMES)
    shown = steps[::every]
    axes.set_xticks([place for place, _ in shown], [clock_text(step.utc) for _, step in shown])
    axes.set_xlabel(
        "findings, UTC; open bars: told, full ones: done\n(dark: nobody said otherwise); clockwise up"
    )


def _title(nights: Nights) -> str:
    first, last = nights.nights[0].first, nights.nights[-1].last
    shown, plus = with_sigma(last.error.total_arcmin, last.error.total_sigma_arcmin)
    when = iso_from_utc(first.utc)[:10]
    if len(nights.nights) > 1:
        when = f"{len(nights.nights)} nights from {when}"
    lines = [f"{when}: {first.error.total_arcmin:.1f} arcmin at first, {shown} ± {plus} at last"]
    for knob in nights.knobs:
        gain, sigma = with_sigma(knob.arcmin_per_turn, knob.sigma)
        lines.append(f"learned: {knob.name} knob {gain} ± {sigma} arcmin a turn")
    return "\n".join(lines)
