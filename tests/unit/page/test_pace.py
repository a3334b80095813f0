"""How many clients are let in at once, and how many in the long run."""

from __future__ import annotations

from polarcheck.page.pace import Pace


def let_in_by(seconds: float, asking: int, begin_s: float = 1000.0) -> int:
    """How many of clients that all come at one moment are in by then."""
    pace, now = Pace(), begin_s
    for count in range(asking):
        now += pace.wait_s(now)
        if now - begin_s > seconds:
            return count
    return asking


def test_eight_pages_that_are_reloaded_at_once_wait_for_nothing() -> None:
    """A page asks twice when it is loaded, for itself and for its events, and eight may be open (docs/page.md)."""
    assert let_in_by(0.0, 8 * 2) == 16


def test_a_crowd_is_let_in_at_a_pace_that_leaves_the_processor_to_the_watch() -> None:
    """Some 20 at once, and 40 a second in the long run, as docs/page.md says."""
    assert let_in_by(0.0, 1000) < 32
    assert 380 <= let_in_by(10.0, 1000) <= 440


def test_after_a_rest_some_come_at_once_again_however_long_it_was() -> None:
    pace = Pace()
    for now in (0.0, 3600.0):
        waits = [pace.wait_s(now) for _ in range(30)]
        assert waits[:16] == [0.0] * 16
        assert waits[29] > 0
