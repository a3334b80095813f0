"""Values of header cards, with every way in which an untrusted card can be wrong made one exception."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from polarcheck.frames.written_numbers import PLAIN_TEXT, AmbiguousNumberError, number_of
from polarcheck.printable import printable

__all__ = ["Cards", "UnusableError", "is_plain_card"]


# a value in fixed format (FITS Standard 4.0, section 4.2; from memory): printable, then nothing or a comment
_FIXED = re.compile(
    rb"[A-Z0-9_ -]{8}= (?:'((?:[ -&(-~]|'')*)'|                   ([TF])"
    rb"| *([+-]?\d{1,18})| *([+-]?(?:\d+\.\d*|\.\d+|\d+(?=[ED]))(?:[ED][+-]?\d{1,3})?)) *(?:/[ -~]*)?\Z"
)


class UnusableError(Exception):
    """A file cannot be used as a frame; the text is printable and says why and what to do.

    Parameters
    ----------
    text : str
    parameters : tuple of str
        The library's parameters that would mend it.
    """

    def __init__(self, text: str, parameters: tuple[str, ...] = ()) -> None:
        super().__init__(text)
        self.parameters = parameters


class NotSolvedError(UnusableError):
    """The file holds no plate solution."""


class NotWholeError(UnusableError):
    """Not all of the file's bytes are there yet."""


class Cards:
    """The cards of one frame, looked up in several headers one after the other.

    A value in the Standard's fixed format is read here, any other way to write it by astropy: ten thousand
    headers of forty cards each make the difference felt.

    Parameters
    ----------
    *headers : mapping of str to bytes
        Keyword to the whole card of 80 bytes. The image's own header first, then the file's primary header.
    """

    def __init__(self, *headers: Mapping[str, bytes]) -> None:
        self._headers = headers

    @property
    def are_fits(self) -> bool:
        """Whether they stand in a FITS header; else they were made from EXIF."""
        return "EXIF" not in self

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
            if (card := header.get(keyword)) is not None:
                value = _value(keyword, card)
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
        """Return the card's value as a finite number (also from text, see `number_of`), None where there is none.

        Raises
        ------
        UnusableError
            Another kind of value.
        """
        value = self.value(keyword)
        if value is None:
            return None
        why = "no number"
        try:
            number = math.nan if isinstance(value, bool) else _as_number(value)
        except AmbiguousNumberError as error:
            number, why = math.nan, str(error)
        except (ValueError, OverflowError):
            number = math.nan
        if not math.isfinite(number):
            raise UnusableError(f"its header card {keyword} = '{printable(value, 40)}' is {why}")
        return number

    def comment(self, keyword: str) -> str:
        """Return the card's comment, "" where there is none or the card is broken."""
        for header in self._headers:
            if (card := header.get(keyword)) is not None:
                try:
                    return str(_parsed(card).comment)
                except Exception:  # astropy raises many kinds for a broken card
                    return ""
        return ""


def is_plain_card(card: bytes) -> bool:
    """Return whether a card has a value in the Standard's fixed format."""
    return _FIXED.match(card) is not None


def _as_number(value: str | float) -> float:
    return number_of(value) if isinstance(value, str) else float(value)


def _value(keyword: str, card: bytes) -> Any:
    plain = _FIXED.match(card)
    if plain is None:
        try:
            return _parsed(card).value
        except Exception as error:  # astropy raises many kinds for a broken card
            if written := PLAIN_TEXT.match(card):
                return written[1].decode("ascii")
            raise UnusableError(f"its header card {keyword} cannot be read: damaged") from error
    text, logical, whole, real = plain.groups()
    if text is not None:
        return text.decode("ascii").replace("''", "'")
    if logical is not None:
        return logical == b"T"
    return int(whole) if whole is not None else float(real.replace(b"D", b"E"))


def _parsed(card: bytes) -> Any:
    from astropy.io import fits

    return fits.Card.fromstring(card)
