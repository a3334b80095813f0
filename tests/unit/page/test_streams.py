"""Who listens to what: the newest state, the same for all, and no more pages than may be."""

from __future__ import annotations

import asyncio
import json
import re

import pytest

from polarcheck.page.resources import built_page
from polarcheck.page.streams import MOST_STREAMS, Streams
from tests.evenings import AXIS, HOSTILE, LAST, evening, trend
from tests.unit.page.quick_loop import now_s, run_quickly

pytestmark = pytest.mark.allow_hosts(
    ["127.0.0.1"]
)  # a loop of asyncio wakes itself through a pair of sockets

TAKEN = {"azimuth": 1.0, "altitude": 0.0, "as_told": True}


def next_piece(streams: Streams, page: str = "a") -> bytes:
    listener = streams.enter(page)
    assert listener is not None
    return asyncio.run(listener.piece())


def test_a_page_that_comes_gets_the_last_state_at_once() -> None:
    """An event is lines of ``field: value``, ended by an empty one (HTML Standard, section 9.2.6)."""
    streams = Streams()
    streams.publish(evening(3))
    retry, state, rest = next_piece(streams).split(b"\n\n")
    assert (retry, rest) == (b"retry: 2000", b"")
    name, data = state.split(b"\n")
    assert name == b"event: state"
    assert json.loads(data.removeprefix(b"data: ")) == evening(3).to_dict()


def test_before_the_first_state_there_is_null() -> None:
    assert b"data: null\n" in next_piece(Streams())


def test_only_the_newest_state_waits() -> None:
    streams = Streams()
    listener = streams.enter("a")
    assert listener is not None
    for number in range(1, 1000):
        streams.publish(evening(number))
    assert b'"number":999,' in asyncio.run(listener.piece())


def test_texts_are_printable_and_stay_on_one_line() -> None:
    streams = Streams()
    streams.publish(evening(last_frame={**LAST, "file": HOSTILE}, folder="\u2028\x00"))
    assert streams.latest.isascii()
    assert not {b"\n", b"\r", b"\x1b"} & {bytes([c]) for c in streams.latest}
    shown = json.loads(streams.latest)
    assert "\u202e" not in shown["last_frame"]["file"] and "\\u202e" in shown["last_frame"]["file"]
    assert shown["folder"] == "\\u2028\\x00"


def test_long_texts_are_cut_where_no_screen_shows_them() -> None:
    streams = Streams()
    streams.publish(evening(folder="a" * 2000, last_frame={**LAST, "file": "b" * 2001}))
    shown = json.loads(streams.latest)
    assert shown["folder"] == "a" * 2000
    assert shown["last_frame"]["file"] == "b" * 2000 + "…"


def test_two_beats_fit_into_the_silence_that_the_page_bears_and_not_four() -> None:
    """One may be lost on its way; a page that waited longer would show old figures as new ones. Each beat wakes the
    radio of a phone, so that there are no more than need be.
    """

    async def silence_s() -> float:
        listener = Streams().enter("a")
        assert listener is not None
        await listener.piece()
        begun = now_s()
        assert await listener.piece() == b"event: beat\ndata: {}\n\n"
        return now_s() - begun

    borne = re.search(r"SILENT_MS = (\d+)", built_page().content.decode())
    assert borne
    assert int(borne[1]) == 10_000  # as docs/page.md says
    assert 2 * run_quickly(silence_s()) <= 10.0 < 4 * run_quickly(silence_s())


def test_as_many_pages_as_may_be_and_one_that_comes_back_takes_its_place() -> None:
    streams = Streams()
    pages = [streams.enter(str(i)) for i in range(MOST_STREAMS)]
    assert all(pages)
    assert len(pages) == 8  # as docs/page.md says
    assert streams.enter("more") is None
    again = streams.enter("0")
    assert again is not None
    first = pages[0]
    assert first is not None and first.ended
    streams.leave("0", first)  # it was replaced: its leaving changes nothing
    assert streams.enter("more") is None
    streams.leave("0", again)
    assert streams.enter("more") is not None


def test_an_answer_to_other_turns_is_not_one_to_these() -> None:
    """What was pressed before the newest finding was meant for the turns that it told of."""
    streams = Streams()
    assert not streams.answers_what_is_asked(0)
    streams.publish(evening(5, taken=TAKEN))
    streams.publish(evening(6, taken=TAKEN, last_frame=None))
    assert streams.answers_what_is_asked(5) and streams.answers_what_is_asked(6)
    assert not streams.answers_what_is_asked(4) and not streams.answers_what_is_asked(7)
    streams.publish(
        evening(7, taken=TAKEN, axis={**AXIS, "time_utc": "2026-11-14T22:00:00"}, trend=trend(3, 2, 1, 1))
    )
    assert streams.answers_what_is_asked(7) and not streams.answers_what_is_asked(6)
    streams.publish(evening(8, taken=None))
    assert not streams.answers_what_is_asked(8)
