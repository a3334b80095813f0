"""What holds where nothing was said."""

from __future__ import annotations

from polarcheck.solving import Solver


def test_a_frame_has_half_a_minute() -> None:
    """As docs/solving.md says: a minute a frame would be a quarter of an hour of a sweep, and what is not recognised in
    twenty seconds seldom is later (common practice, no source).
    """
    assert 20 <= Solver().limit_s <= 40
