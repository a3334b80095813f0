"""The evening's screen: what stands on it, at every size, in plain and in block signs."""

from __future__ import annotations

from typing import Any

import pytest

from polarcheck.report import Paper, screen_lines, standing_line
from polarcheck.watch import (
    AxisTableNow,
    EveningSchema,
    FrameCounts,
    KnobTurn,
    LastFrame,
    NowTable,
    TargetFrames,
    TrendPoint,
    TurnsTaken,
)

KNOBS = [
    KnobTurn(
        knob="altitude",
        direction="up",
        sense="clockwise",
        turns=0.25,
        amount="1/4",
        unit="turn",
        move_arcmin=12.3,
        note="1/8 of it takes up play",
    ),
    KnobTurn(
        knob="azimuth",
        direction="west",
        sense="counterclockwise",
        turns=1.37,
        amount="1.37",
        unit="turn",
        move_arcmin=-68.5,
    ),
]
AXIS = AxisTableNow(
    azimuth_arcmin=68.5,
    altitude_arcmin=-12.3,
    total_arcmin=48.1,
    azimuth_sigma_arcmin=0.5,
    altitude_sigma_arcmin=0.3,
    total_sigma_arcmin=0.4,
    azimuth_allowance_arcmin=0.1,
    altitude_allowance_arcmin=0.1,
    azimuth_side="east",
    altitude_side="low",
    time_utc="2026-11-14T21:14:54Z",
)


def now(action: Any, **more: Any) -> NowTable:
    chosen = {"sentence": "Turn.", "knobs": [], "frames_deg": [], "why": "Because."} | more
    return NowTable(action=action, **chosen)


def evening(**more: Any) -> EveningSchema:
    points = [
        TrendPoint(
            time_utc="2026-11-14T21:00:00Z",
            azimuth_arcmin=1.0,
            altitude_arcmin=1.0,
            total_arcmin=total,
            sigma_arcmin=0.1,
            fresh=False,
        )
        for total in (99.0, 48.1)
    ]
    content: dict[str, Any] = {
        "number": 1,
        "time_utc": "2026-11-14T21:15:10Z",
        "folder": "frames of tonight/" * 4,
        "now": now("turn", knobs=KNOBS, frames_deg=[0.0, -35.0], caution="Hold the load." * 8),
        "axis": AXIS,
        "left_arcmin": 2.1,
        "goal_arcmin": 0.5,
        "trend": points,
        "last_frame": LastFrame(
            file="a_very_long_name_of_a_frame_" * 3 + ".fits",
            time_utc=None,
            counted=False,
            part="none",
            reason="Another field: declination or camera moved, or it is solved wrongly",
        ),
        "counts": FrameCounts(counted=7, of_target=0, refused=1, unsolved=2, growing=1),
        "target": TargetFrames(
            frames=12, seen_arcsec_per_min=[1.0, -2.0], predicted_arcsec_per_min=[1.1, -2.1], elongation=None
        ),
        "taken": TurnsTaken(azimuth=-1.37, altitude=0.25, as_told=True),
        "sound": None,
        "warnings": [],
    }
    return EveningSchema(**(content | more))


def text(view: EveningSchema, paper: Paper) -> str:
    return "\n".join(line for _, line in screen_lines(view, paper))


STATES = {
    "turn": evening(),
    "turn without a rig file": evening(
        now=now(
            "turn", knobs=[KNOBS[0].model_copy(update={"unit": "arcmin", "amount": "12.3", "turns": None})]
        )
    ),
    "first frames": evening(axis=None, trend=[], last_frame=None, now=now("frames"), taken=None, target=None),
    "frames": evening(now=now("frames", frames_deg=[0.0, 30.0])),
    "wait": evening(now=now("wait", sentence="Looking until the axis rests.")),
    "stop": evening(now=now("stop", sentence="Done: near enough.")),
    "warned": evening(warnings=[{"code": "x", "text": "Something is doubtful. " * 30}]),
}


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 24), (40, 12), (120, 50), (24, 8), (12, 3)])
@pytest.mark.parametrize("blocks", [True, False])
def test_fits_every_terminal(state: str, columns: int, rows: int, blocks: bool) -> None:
    lines = screen_lines(STATES[state], Paper(columns, rows, blocks))
    assert 0 < len(lines) <= rows
    if columns >= 40:
        assert max(len(line) for _, line in lines) < columns
    if not blocks:
        assert all(line.isascii() for _, line in lines)


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 24)])
def test_all_that_matters_stands_on_small_terminals(columns: int, rows: int) -> None:
    shown = " ".join(text(STATES["turn"], Paper(columns, rows)).split())
    for words in (
        "altitude: 1/4 turn clockwise",
        "azimuth: 1.37 turns",
        "too low",
        "after this: 2.10",
        "n none",
    ):
        assert words in shown
    assert sum(tone == "large" for tone, _ in screen_lines(STATES["turn"], Paper(columns, rows))) == 10


def test_the_first_knob_stands_above_the_second_and_its_way_is_drawn() -> None:
    shown = text(STATES["turn"], Paper(80, 24))
    assert shown.index("First altitude") < shown.index("Then azimuth")


def test_ways_of_turning_are_told_apart() -> None:
    other = [knob.model_copy(update={"sense": "clockwise"}) for knob in KNOBS]
    assert text(evening(), Paper(80, 24)) != text(evening(now=now("turn", knobs=other)), Paper(80, 24))


def test_answers_are_offered_only_where_keys_are_heard() -> None:
    assert "h half" in text(evening(), Paper(80, 24))
    assert "h half" not in text(evening(), Paper(80, 24, has_keys=False))
    assert "azimuth,altitude: 1/4_" in text(evening(), Paper(80, 24, entry="1/4"))


def test_state_that_waits_shows_the_error_large() -> None:
    assert sum(tone == "large" for tone, _ in screen_lines(STATES["wait"], Paper(80, 24))) == 5


def test_last_words_say_where_the_night_stands() -> None:
    assert standing_line(evening()) == "48.1 ± 0.4 arcmin from the pole. Turn."
    assert standing_line(STATES["first frames"]) == "No finding of the axis so far."
