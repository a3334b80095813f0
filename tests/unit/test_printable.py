"""Untrusted text cannot steer a terminal or a page."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polarcheck.printable import printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("polar axis", "polar axis"),
        ("a\x1b[31m", r"a\x1b[31m"),
        ("two\nlines\r\t", r"two\x0alines\x0d\x09"),
        ("\u202egnp.exe", r"\u202egnp.exe"),
        ("\x9b2J", r"\x9b2J"),
        ("\u2028", r"\u2028"),
        ("\udc80", r"\udc80"),
        ("\U000e0001", r"\U000e0001"),
        ("Ähre 北極 °", "Ähre 北極 °"),
    ],
)
def test_control_characters_become_escapes_and_letters_stay(text: str, shown: str) -> None:
    assert printable(text) == shown


def test_long_text_is_cut_and_marked() -> None:
    assert printable("x" * 300) == "x" * 200 + "…"
    assert printable("x" * 9, longest=8) == "x" * 8 + "…"
    assert printable("x" * 8, longest=8) == "x" * 8


def test_anything_is_shown_by_its_text() -> None:
    assert printable(12.5) == "12.5"
    assert printable(None) == "None"


@given(st.text(alphabet=st.characters(exclude_categories=()), max_size=300))
def test_nothing_unsafe_survives(text: str) -> None:
    shown = printable(text)
    assert all(unicodedata.category(c) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} for c in shown)
    shown.encode("utf-8")
