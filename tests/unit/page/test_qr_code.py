"""The code in the terminal, read back by an independent reader (the library zxing-cpp) as a phone would."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import zxingcpp

from polarcheck.page.qr_code import qr_lines

ADDRESS = "http://192.168.100.200:54321/ABCDEFGHIJKLMNOPQRSTUV/"
Picture = npt.NDArray[np.uint8]
INK = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}


def seen(lines: list[str], *, dark: bool) -> Picture:
    """What a camera sees of a terminal: ink is bright on a dark one, dark on a bright one; around it a margin."""
    rows = [[INK[c][half] for c in line] for line in lines for half in (0, 1)]
    bright = np.array(rows, bool) == dark
    return np.asarray(np.kron(np.pad(bright, 2, constant_values=not dark), np.ones((6, 6))) * 255, np.uint8)


def read(picture: Picture) -> list[str]:
    """What a reader sees that does not try an inverted picture, as not all phones do."""
    found = zxingcpp.read_barcodes(picture, try_invert=False)
    return [code.text for code in found]


@pytest.mark.parametrize("dark", [True, False])
@pytest.mark.parametrize("columns", [40, 80])
def test_code_reads_as_the_address(dark: bool, columns: int) -> None:
    lines = qr_lines(ADDRESS, dark=dark, columns=columns)
    assert {len(line) for line in lines} == {len(lines[0])}
    assert len(lines[0]) <= columns
    assert len(lines) < 24
    assert read(seen(lines, dark=dark)) == [ADDRESS]


def test_a_terminal_of_the_other_kind_shows_it_inverted() -> None:
    """That is why `dark` is asked: a reader that does not try an inverted image finds nothing."""
    lines = qr_lines(ADDRESS, columns=80)
    assert read(seen(lines, dark=False)) == []


def test_what_does_not_fit_is_not_shown() -> None:
    assert qr_lines(ADDRESS, columns=30) == []
    assert qr_lines("x" * 500, columns=40) == []


def test_quiet_zone_is_four_modules_where_there_is_room() -> None:
    """ISO/IEC 18004: four light modules all around; on a dark terminal these are inked."""
    lines = qr_lines(ADDRESS, columns=80)
    assert lines[0] == lines[1] == "█" * len(lines[0]) != lines[2]
    assert all(line.startswith("█" * 4) and line.endswith("█" * 4) for line in lines)
    assert not all(line.startswith("█" * 5) for line in lines)


def test_quiet_zone_shrinks_to_two_modules_and_no_further() -> None:
    """54 bytes need version 4, 33 modules (ISO/IEC 18004, table of capacities: 53 bytes in version 3, level L)."""
    text = "x" * 54
    widths = [len(qr_lines(text, columns=columns)[0]) for columns in (80, 41, 40, 38, 37)]
    assert widths == [41, 41, 39, 37, 37]
    assert qr_lines(text, columns=36) == []
    assert read(seen(qr_lines(text, columns=37), dark=True)) == [text]
