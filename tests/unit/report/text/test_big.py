"""Large figures: five lines, in the room that there is, and no two alike."""

from __future__ import annotations

import pytest

from polarcheck.report.text.big import _ROWS, HEIGHT, big_lines, big_width


@pytest.mark.parametrize("sign", _ROWS)
def test_sign_has_five_rows_of_one_width(sign: str) -> None:
    rows = _ROWS[sign].split()
    assert len(rows) == HEIGHT
    assert len({len(row) for row in rows}) == 1


def test_no_two_signs_look_alike_but_those_that_are_written_alike() -> None:
    looks: dict[str, list[str]] = {}
    for sign, rows in _ROWS.items():
        looks.setdefault(rows, []).append(sign)
    assert [signs for signs in looks.values() if len(signs) > 1] == [["0", "O"]]


@pytest.mark.parametrize(("room", "stroke"), [(79, 2), (39, 1)])
def test_strokes_are_two_wide_where_that_fits(room: int, stroke: int) -> None:
    lines = big_lines("ALT 12.34 >", room)
    assert len(lines) == HEIGHT
    assert max(map(len, lines)) <= min(room, big_width("ALT 12.34 >", stroke))
    assert lines[0].startswith(" " * stroke + "█" * stroke)


def test_plain_ink_is_plain() -> None:
    assert all(line.isascii() for line in big_lines("STOP", 40, "#"))
