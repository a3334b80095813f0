"""Values of header cards, with every way in which an untrusted card can be wrong made one exception."""

from __future__ import annotations

import math
from typing import Any

from polarcheck.printable import printable

__all__ = ["Cards", "UnusableError"]


class UnusableError(Exception):
    """A file cannot be used as a frame; the text is printable and says why and what to do."""


class Cards:
    """The cards of one frame, looked up in several headers one after the other.

    Parameters
    ----------
    *headers : astropy.io.fits.Header
        The image's own header first, then the file's primary header.
    """

    def __init__(self, *headers: Any) -> None:
        self._headers = headers

    def __contains__(self, keyword: str) -> bool:
        return any(keyword in header for header in self._headers)

    def value(self, keyword: str) -> str | float | bool | None:
        """Return the card's value; None where it is missing, undefined or blank.

        Raises
        ------
        UnusableError
            The card breaks the FITS syntax.
        """
        for header in self._headers:
            if keyword in header:
                try:
                    value = header[keyword]
                except Exception as error:  # astropy raises many kinds for a broken card
                    raise UnusableError(f"its header card {keyword} cannot be read: damaged") from error
                if isinstance(value, str):
                    value = value.strip()
                if isinstance(value, (str, float, int)) and value != "":
                    return value
        return None

    def text(self, keyword: str) -> str | None:
        """Return the card's value as text, None where there is none."""
        value = self.value(keyword)
        return None if value is None else str(value)

    def number(self, keyword: str) -> float | None:
        """Return the card's value as a finite number (also from a string), None where there is none.

        Raises
        ------
        UnusableError
            Another kind of value.
        """
        value = self.value(keyword)
        if value is None:
            return None
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (ValueError, OverflowError):
            number = math.nan
        if not math.isfinite(number):
            raise UnusableError(f"its header card {keyword} = '{printable(value, 40)}' is no number")
        return number

    def comment(self, keyword: str) -> str:
        """Return the card's comment, "" where there is none or the card is broken."""
        for header in self._headers:
            if keyword in header:
                try:
                    return str(header.comments[keyword])
                except Exception:  # astropy raises many kinds for a broken card
                    return ""
        return ""
