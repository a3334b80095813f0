"""Numbers as the reader should see them: no more digits than the uncertainty carries."""

from __future__ import annotations

import math

__all__ = ["decimals_for", "with_sigma"]

_MOST = 3  # decimals of an arcminute: 0.06 arcsec


def decimals_for(sigma: float) -> int:
    """Return the decimals that an uncertainty justifies, from 0 to 3.

    The rule of the Particle Data Group: with the first three digits of sigma from 100 to 354 two digits
    stand, from 355 to 949 one, from 950 to 999 it is rounded up to 1000 and two stand.

    References
    ----------
    .. [1] Particle Data Group, Review of Particle Physics, introduction, section 5.3 (from memory).
    """
    if not (math.isfinite(sigma) and sigma > 0):
        return _MOST
    exponent = math.floor(math.log10(sigma))
    first_three = round(sigma / 10.0 ** (exponent - 2))
    if first_three >= 950:
        exponent, first_three = exponent + 1, 100
    digits = 2 if first_three <= 354 else 1
    return min(max(digits - 1 - exponent, 0), _MOST)


def with_sigma(value: float, sigma: float) -> tuple[str, str]:
    """Return value and uncertainty as texts with the same decimals.

    Examples
    --------
    >>> with_sigma(23.39712, 0.0283)
    ('23.397', '0.028')
    >>> with_sigma(-11.7989, 0.5)
    ('-11.8', '0.5')
    """
    decimals = decimals_for(sigma)
    least = 10.0**-_MOST
    shown = f"{sigma:.{decimals}f}" if sigma >= least / 2 else f"<{least:g}"
    return f"{round(value, decimals) + 0.0:.{decimals}f}", shown  # + 0.0: never "-0.00"
