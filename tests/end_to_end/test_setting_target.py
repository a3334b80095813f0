"""A target that sets: what drift, exposure, timeline and map say of it."""

from __future__ import annotations

from datetime import datetime, timedelta

from polarcheck.times import iso_from_utc
from tests.commands import answered, run
from tests.unit.outlook.test_outlook import OUTLOOK, START

LOW = ("--error", "20,10", "--site", "47.3,11.2,900", "--target", "300,0", "--at", "2026-11-14T19:00:00")
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")


def test_warning_stands_in_the_json_and_set_rows_are_marked() -> None:
    answer, said_aloud = answered("drift", *LOW, "--for", "6h")
    assert "The target sets 16" in said_aloud
    assert [warning["code"] for warning in answer["warnings"]] == ["target-sets"]
    said = run("drift", *LOW, "--for", "6h").stdout
    assert "set\n" in said
    assert "-13.1" not in said


def test_exposure_says_when_the_target_sets() -> None:
    assert "The target sets (5 deg) in 2.2" in " ".join(run("exposure", *LOW, *OPTICS).stdout.split())


def test_timeline_leaves_low_rows_out_and_says_when_the_target_sets() -> None:
    shown = run("timeline", *LOW, *OPTICS).stdout
    altitudes = [int(row.split()[1]) for row in shown.splitlines() if row[2:4].isdigit() and row[4:5] == ":"]
    assert min(altitudes) >= 5
    line = OUTLOOK.timeline((300.0, 0.0), START)
    dusk = datetime.fromisoformat(iso_from_utc(line.night.dusk)[:19])
    sets = dusk + timedelta(seconds=line.spans_up_s[0][1])
    assert f"until {sets:%H:%M} UTC, then it sets" in " ".join(shown.split())


def test_map_leaves_out_rows_that_never_come_up() -> None:
    shown = run("map", *LOW[:4], *OPTICS).stdout
    rows = [line.split() for line in shown.splitlines() if line.strip().startswith(("+", "-"))]
    assert len(rows) > 8
    assert all(set(cells[1:]) != {"."} for cells in rows)
