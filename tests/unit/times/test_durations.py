"""Lengths of time as text."""

from __future__ import annotations

import pytest

from polarcheck.errors import InputError
from polarcheck.times import parse_duration


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("90s", 90),
        ("10min", 600),
        ("1.5h", 5400),
        ("-2h", -7200),
        ("1d", 86400),
        ("2m", 120),
        ("3 sec", 3),
        ("2hr", 7200),
        ("1h30min", 5400),
        (" 5 MIN ", 300),
        ("−30s", -30),
        (".5h", 1800),
    ],
)
def test_duration_is_read(text: str, seconds: float) -> None:
    assert parse_duration(text) == seconds


@pytest.mark.parametrize("text", ["", "10", "h", "ten min", "5x", "1h2", "--2h", "1e3s", "nan s", "\x1b[2Js"])
def test_what_is_no_duration_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputError, match="10min") as caught:
        parse_duration(text)
    assert "\x1b" not in str(caught.value)
