"""Turns as people write them: decimals, fractions, whole ones with a fraction."""

from __future__ import annotations

import pytest

from polarcheck.cli.parsing import turns
from polarcheck.errors import InputError


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("-0.5,0.25", (-0.5, 0.25)),
        ("1/2,-3/16", (0.5, -0.1875)),
        ("-1 1/2, 2", (-1.5, 2.0)),
        ("+1/8,0", (0.125, 0.0)),
    ],
)
def test_turns_are_azimuth_then_altitude(text: str, expected: tuple[float, float]) -> None:
    assert turns(text) == expected


@pytest.mark.parametrize(
    "text", ["1", "1;2", "1/0,1", "a,b", "1/2/3,1", "1 2,3", "nan,0", "1e9,0", "--1,x", "1,2,3"]
)
def test_what_is_no_pair_of_turns_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="not two numbers of turns"):
        turns(text)
