"""The solution that nearly all solvers write, gnomonic with or without SIP, made of its cards without a detour.

`astropy.wcs.WCS` takes a header through several copies to look for what other headers have. Where there is nothing of
the kind its parts are put together here, in a twelfth of the time; any other header goes to it as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from polarcheck.frames.cards import Cards, is_plain_card
from polarcheck.vectors import Array

__all__ = ["wcs_of"]

_GNOMONIC = re.compile(r"(?:RA-|DEC)--TAN(?:-SIP)?")
_LINEAR = re.compile(
    r"(?:CTYPE|CUNIT|CRPIX|CRVAL|CDELT)[12]|(?:CD|PC)[12]_[12]|LONPOLE|LATPOLE|RADESYS|EQUINOX"
)
_DISTORTION = re.compile(r"[AB]P?_(?:ORDER|\d_\d)")


def wcs_of(header: Mapping[str, bytes]) -> Any:
    """Return the `astropy.wcs.WCS` of a solution's cards, as ``WCS(header)`` gives it.

    Parameters
    ----------
    header : mapping of str to bytes
        Keyword to the whole card of 80 bytes.

    Returns
    -------
    astropy.wcs.WCS
        The inverse terms of SIP, which nobody asks for, may be missing.
    """
    from astropy.wcs import WCS, Sip, Wcsprm

    if not _is_plain(header):
        return WCS(b"".join(header.values()))
    linear = Wcsprm(
        header=b"".join(card for name, card in header.items() if _LINEAR.fullmatch(name)), relax=True
    )
    wcs = WCS(naxis=2)
    wcs.wcs = linear
    if "A_ORDER" in header:
        cards = Cards(header)
        wcs.sip = Sip(_terms(cards, "A"), _terms(cards, "B"), None, None, linear.crpix)
    wcs.fix()
    wcs.wcs.set()
    return wcs


def _is_plain(header: Mapping[str, bytes]) -> bool:
    """Whether the cards are those of the Standard and of SIP, each in fixed format, and nothing is missing."""
    cards, names = Cards(header), [name for name in header if not _LINEAR.fullmatch(name)]
    if not all(is_plain_card(card) for card in header.values()):
        return False
    ctypes = [cards.text(f"CTYPE{axis}") or "" for axis in (1, 2)]
    if not all(_GNOMONIC.fullmatch(ctype) for ctype in ctypes) or not {"CRPIX1", "CRPIX2"} <= header.keys():
        return False
    if not any(ctype.endswith("-SIP") for ctype in ctypes):
        return not names
    orders = [cards.value(f"{letter}_ORDER") for letter in "AB"]
    return (
        all(ctype.endswith("-SIP") for ctype in ctypes)
        and all(isinstance(order, int) and order > 1 for order in orders)
        and all(_DISTORTION.fullmatch(name) for name in names)
    )


def _terms(cards: Cards, letter: str) -> Array:
    """The polynomial of one axis, shape (order + 1, order + 1)."""
    order = int(cards.number(f"{letter}_ORDER") or 0)
    found = np.zeros((order + 1, order + 1))
    for p in range(order + 1):
        for q in range(order + 1 - p):
            found[p, q] = cards.number(f"{letter}_{p}_{q}") or 0.0
    return found
