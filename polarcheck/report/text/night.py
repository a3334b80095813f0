"""The night on a terminal."""

from __future__ import annotations

from polarcheck.report.text.words import plain

__all__ = ["taken_text", "turned_words"]


def turned_words(turned: tuple[float, float]) -> str:
    """Return turns of both knobs: ``azimuth 0.41 turns counterclockwise, altitude none``."""
    return ", ".join(
        f"{knob} {_turns(turns)}" for knob, turns in zip(("azimuth", "altitude"), turned, strict=True)
    )


def taken_text(turned: tuple[float, float]) -> str:
    """Return what counts as turned, nobody having said otherwise."""
    if turned == (0.0, 0.0):
        return "No knob counts as turned, as was told; --turned tells otherwise."
    return f"Counted as turned, as was told: {turned_words(turned)}. --turned tells otherwise."


def _turns(turns: float) -> str:
    if round(turns, 2) == 0:
        return "none" if turns == 0 else "under 0.01 turns"
    count = plain(abs(turns), 2)
    return (
        f"{count} {'turn' if count == '1.00' else 'turns'} {'clockwise' if turns > 0 else 'counterclockwise'}"
    )
