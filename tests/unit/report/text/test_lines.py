"""Paragraphs, tables and names in columns, on terminals of several widths."""

from __future__ import annotations

import pytest

from polarcheck.report.text.lines import Column, clipped, line_width, some_of, table, wrapped

NUMBERS = (Column("frame", "<", "clip"), Column("clock", narrow="drop"), Column("angle\ndeg"), Column("off"))


def columns(text: str) -> int:
    """Columns on a terminal: of these tests' characters one is wide and one combines (Unicode Annex 11)."""
    return len(text) + text.count("帧") - text.count("\u0301")


@pytest.fixture(params=[80, 40])
def terminal(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setenv("COLUMNS", str(request.param))
    return int(request.param)


@pytest.mark.parametrize(
    ("terminal_has", "line_takes"), [("200", 79), ("80", 79), ("72", 71), ("40", 39), ("3", 24), ("", 79)]
)
def test_line_is_shorter_than_the_terminal_and_never_above_79(
    terminal_has: str, line_takes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.__stdout__", None)  # as where no terminal is
    monkeypatch.setenv("COLUMNS", terminal_has)
    assert line_width() == line_takes


# paragraphs


def test_paragraph_fills_the_line_and_hangs(terminal: int) -> None:
    lines = wrapped("word " * 60, "- ", "  ").splitlines()
    assert all(terminal - 6 < len(line) < terminal for line in lines[:-1])
    assert lines[0].startswith("- word")
    assert all(line.startswith("  word") for line in lines[1:])


def test_long_name_stays_whole_on_a_line_of_its_own(terminal: int) -> None:
    name = "/night/" + "frame_" * 20 + "1.fits"
    lines = wrapped(f"The file {name} is not solved").splitlines()
    assert name in lines
    assert all(len(line) < terminal for line in lines if line != name)


def test_wide_characters_take_two_columns(terminal: int) -> None:
    lines = wrapped("帧帧帧 " * 40).splitlines()
    assert all(terminal - 8 < columns(line) < terminal for line in lines[:-1])
    assert "\0" not in "".join(lines)


# names


@pytest.mark.parametrize(
    "name", ["a" * 90 + "_0001.fits", "帧" * 60 + "_0001.fits", "e\u0301" * 60 + "_0001.fits"]
)
def test_long_name_loses_its_middle_and_keeps_both_ends(name: str) -> None:
    short = clipped(name, 20)
    assert 18 <= columns(short) <= 20
    assert short[0] == name[0]
    assert short.endswith("_0001.fits")
    assert "…" in short


def test_short_name_stays_as_it_is() -> None:
    assert clipped("x" * 20, 20) == "x" * 20


# tables


def test_numbers_stand_to_the_right_and_heads_above_them() -> None:
    lines = table(
        NUMBERS, [("a.fits", "21:10", "+2.0", "0.25"), ("bb.fits", "21:11", "+14.0", "10.16")]
    ).splitlines()
    assert lines == [
        "                  angle",
        "  frame    clock    deg    off",
        "  a.fits   21:10   +2.0   0.25",
        "  bb.fits  21:11  +14.0  10.16",
    ]


def test_narrow_table_first_clips_names_then_drops_what_may_go(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [("a_very_long_name_of_a_frame_01.fits", "21:10", "+2.0", "0.25")]
    monkeypatch.setenv("COLUMNS", "46")
    assert "21:10" in table(NUMBERS, rows)
    assert "…" in table(NUMBERS, rows)
    monkeypatch.setenv("COLUMNS", "36")
    assert "21:10" not in table(NUMBERS, rows)
    assert "01.fits" in table(NUMBERS, rows)


def test_numbers_that_do_not_fit_go_on_in_a_second_table_with_the_same_first_column(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    heads = [Column("after"), *(Column(f"number{i}") for i in range(6))]
    first, second = table(heads, [("1 min", *"123456"), ("2 min", *"654321")]).split("\n\n")
    for part in (first, second):
        assert [line.split()[0] for line in part.splitlines()] == ["after", "1", "2"]
    assert "number2" in first and "number3" in second  # three and three, not four and two


def test_text_stands_beside_its_row_or_below_it(monkeypatch: pytest.MonkeyPatch) -> None:
    heads = (Column("knob", "<"), Column("turns"), Column("how", "<", "below"))
    rows = [
        ("azimuth", "0.25", "clockwise, after taking up the play of the knob and of the clamps"),
        ("altitude", "1.00"),
    ]
    monkeypatch.setenv("COLUMNS", "80")
    beside = table(heads, rows).splitlines()
    assert beside[1].startswith("  azimuth    0.25  clockwise")
    assert beside[2].index("clamps") == beside[1].index("clockwise") == beside[0].index("how")
    monkeypatch.setenv("COLUMNS", "30")
    below = table(heads, rows).splitlines()
    assert below[0] == "  knob      turns"
    assert below[2].startswith("      clockwise")
    assert below[-1] == "  altitude   1.00"


def test_blank_lines_part_blocks_of_one_table() -> None:
    text = table((Column("", "<"), Column("", "<")), [("a", "1"), None, ("bbb", "2")])
    assert text == "  a    1\n\n  bbb  2"


def test_no_line_is_too_long_whatever_stands_in_the_table(terminal: int) -> None:
    heads = (Column("name", "<", "clip"), *[Column("head\nunit")] * 9, Column("text", "<", "below"))
    rows = [("帧" * 60, *[f"{i}.25" for i in range(9)], "some words " * 20)] * 3
    for line in table(heads, rows).splitlines():
        assert columns(line) < terminal
        assert line == line.rstrip()


def test_long_lists_say_how_many_are_not_shown() -> None:
    assert some_of(["a", "b"], 2) == ["a", "b"]
    assert some_of(["a", "b", "c", "d"], 2) == ["a", "b", "  and 2 more (all of them with --json)"]
