"""Make untrusted text (headers, file names) safe to show."""

from __future__ import annotations

import unicodedata

__all__ = ["printable"]

# Cc control, Cf format (bidirectional overrides), Cs surrogates, Co private, Cn unassigned, Zl/Zp line breaks
_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def printable(text: object, longest: int = 200) -> str:
    r"""Return `text` with every character that could steer a terminal or a page written as an escape.

    Parameters
    ----------
    text : object
        Anything; its ``str`` is taken.
    longest : int
        Characters to keep; more are cut and marked with an ellipsis.

    Returns
    -------
    str
        Printable text on one line, for example ``'a\\x1b[31m'`` for a string with an escape character.
    """
    whole = str(text)
    shown = whole[:longest]
    if not shown.isprintable():  # nearly all text is
        shown = "".join(_escaped(c) if unicodedata.category(c) in _UNSAFE else c for c in shown)
    return shown + "…" if len(whole) > longest else shown


def _escaped(character: str) -> str:
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
