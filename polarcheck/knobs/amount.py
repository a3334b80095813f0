"""Turns as a hand can make them."""

from __future__ import annotations

__all__ = ["hand_amount", "near_enough"]


def near_enough(by_hand: float) -> float:
    """Return the turns that a hand cannot tell apart.

    Parameters
    ----------
    by_hand : float
        One-sigma miss of the hand; 0 where nobody said, which gives half a hundredth. [turn]

    Returns
    -------
    float
        [turn]
    """
    return (by_hand or 0.02) / 4


def hand_amount(turns: float, by_hand: float) -> str:
    """Return turns as exactly as a hand can make them: a common fraction where that is near enough, else hundredths.

    Parameters
    ----------
    turns : float
        Positive. [turn]
    by_hand : float
        One-sigma miss of the hand that makes them. [turn]

    Returns
    -------
    str
        Such as ``"1 1/4"`` or ``"0.37"``.
    """
    near = near_enough(by_hand)
    for divisor in (1, 2, 4, 8):
        whole, part = divmod(round(turns * divisor), divisor)
        if abs(turns - round(turns * divisor) / divisor) <= near and whole + part:
            return f"{whole}" if part == 0 else f"{whole or ''} {part}/{divisor}".strip()
    return f"{turns:.2f}" if turns >= 0.1 or near > 0.002 else f"{turns:.3f}"
