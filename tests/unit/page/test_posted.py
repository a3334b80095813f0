"""Answers that come from a page: the four kinds, and all else refused."""

from __future__ import annotations

import json

import pytest

from polarcheck.page.posted import LONGEST_BODY, read_posted
from polarcheck.watch import Answer


@pytest.mark.parametrize("kind", ["made", "half", "none"])
def test_one_word_answers(kind: str) -> None:
    posted = read_posted(json.dumps({"kind": kind, "number": 7}).encode())
    assert (posted.answer, posted.number) == (Answer(kind), 7)  # type: ignore[arg-type]


def test_other_turns() -> None:
    posted = read_posted(b'{"kind": "other", "turns": [-1.25, 3], "number": 7}')
    assert posted.answer == Answer("other", (-1.25, 3.0))


@pytest.mark.parametrize(
    "body",
    [
        "",
        "{",
        "[]",
        "null",
        '"made"',
        "{}",
        '{"kind": "made"}',
        '{"kind": "made", "number": true}',
        '{"kind": "made", "number": 1.5}',
        '{"kind": "made", "number": NaN}',
        '{"kind": "made", "number": 1e400}',
        '{"kind": "made", "number": "1"}',
        '{"kind": "never", "number": 1}',
        '{"kind": ["made"], "number": 1}',
        '{"kind": "made", "number": 1, "more": 1}',
        '{"kind": "made", "number": 1, "turns": [1, 2]}',
        '{"kind": "other", "number": 1}',
        '{"kind": "other", "number": 1, "turns": [1]}',
        '{"kind": "other", "number": 1, "turns": [1, 2, 3]}',
        '{"kind": "other", "number": 1, "turns": ["1", 2]}',
        '{"kind": "other", "number": 1, "turns": [NaN, 2]}',
        '{"kind": "other", "number": 1, "turns": [Infinity, 2]}',
        '{"kind": "other", "number": 1, "turns": [1e9, 2]}',
        '{"kind": "other", "number": 1, "turns": {"0": 1}}',
        "[" * (LONGEST_BODY // 2),
        "1" * LONGEST_BODY,
        '{"kind": "made", "number": ' + "9" * 900 + "}",
    ],
)
def test_all_else_is_refused(body: str) -> None:
    with pytest.raises(ValueError):
        read_posted(body.encode())


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(ValueError):
        read_posted(b"\xff\xfe\x00")
