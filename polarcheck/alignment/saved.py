"""A kept result, written and read back; strictly, since files get edited, cut off and mixed up."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from polarcheck.alignment.state import Alignment
from polarcheck.errors import InputError
from polarcheck.given import PathLike, as_path
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.alignment.schema import KeptAlignment

__all__ = ["LARGEST_BYTES", "kept_text", "read_alignment", "read_result"]

LARGEST_BYTES = 64_000_000
"""Of a result's file, written or read; a frame takes about 300 bytes of it."""

_SCHEMAS = ("polarcheck.measure/1", "polarcheck.follow/1")


def kept_text(result: KeptAlignment) -> str:
    """Return the text of a result that is to be kept.

    Parameters
    ----------
    result : KeptAlignment
        Of `measure` or `follow`.

    Returns
    -------
    str
        ASCII.

    Raises
    ------
    InputError
        It would be too large to be read again.
    """
    text = result.to_json()
    if len(text) >= LARGEST_BYTES:
        raise InputError(
            f"the result would take {len(text) / 1e6:.0f} MB, and no more than {LARGEST_BYTES / 1e6:.0f} MB can be "
            "read again; give fewer frames"
        )
    return text


def read_result(path: PathLike) -> Alignment:
    """Read a result that ``polarcheck measure`` or ``polarcheck follow`` kept.

    Parameters
    ----------
    path : path
        A JSON file.

    Returns
    -------
    Alignment
        How the mount stands, with the night so far: for `follow`, `correct` and `Outlook`.

    Raises
    ------
    InputError
        Not such a file, or a damaged one; the text names the file and the place.
    """
    return read_alignment(as_path(path))


def read_alignment(path: Path) -> Alignment:
    """Read a result that `measure` or `follow` kept.

    Parameters
    ----------
    path : pathlib.Path
        A JSON file that holds a kept result.

    Returns
    -------
    Alignment

    Raises
    ------
    InputError
        Not such a file, or a damaged one; the text names the file and the place.
    """
    name = printable(path.name)
    raw = read_plain_file(path, LARGEST_BYTES, "a kept result", name)
    try:
        content = json.loads(raw.decode("utf-8"))
    except (ValueError, RecursionError):  # no text, no JSON, or a number of thousands of digits
        raise InputError(f"{name}: is no JSON; give a result that measure or follow kept") from None
    schema = content.get("schema") if isinstance(content, dict) else None
    if schema not in _SCHEMAS:
        shown = f"its schema is {printable(schema, 40)}" if schema else "it names no schema"
        raise InputError(f"{name}: is no result that measure or follow kept ({shown})")
    try:
        return _alignment(content, path.parent)
    except InputError as error:
        raise InputError(f"{name}: {error}") from None


def _alignment(content: dict[str, Any], folder: Path) -> Alignment:
    from pydantic import ValidationError  # half of the time that a command needs which reads no result

    from polarcheck.alignment.schema import KeptAlignment

    try:
        return KeptAlignment.model_validate(content).alignment(folder)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        what = fault["msg"].removeprefix("Value error, ")
        raise InputError(f"is damaged at {printable(where, 80)}: {printable(what, 120)}") from None
