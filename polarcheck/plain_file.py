"""Files that are read whole: plain ones of a bounded size, so that no pipe hangs and no device fills the memory."""

from __future__ import annotations

import stat
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = ["read_plain_file"]


def read_plain_file(path: Path, most_bytes: int, what: str, name: str | None = None) -> bytes:
    """Read a whole file.

    Parameters
    ----------
    path : pathlib.Path
        A plain file, or a link to one.
    most_bytes : int
        The largest size that is read.
    what : str
        What it should be, for the message: "a rig file".
    name : str, optional
        What to call it in messages, printable; the path without it.

    Raises
    ------
    InputError
        It cannot be read, is a folder, a pipe or a device, or is larger.
    """
    shown = printable(path) if name is None else name
    try:
        mode = path.stat().st_mode
        content = b""
        if stat.S_ISREG(mode) or stat.S_ISDIR(mode):  # a folder ends in the system's own words
            with path.open("rb") as stream:
                content = stream.read(most_bytes + 1)
    except OSError as error:
        raise InputError(f"{shown}: cannot be read ({printable(error.strerror or error)})") from None
    except ValueError as error:  # a NUL in the name
        raise InputError(f"{shown}: cannot be read ({printable(error)})") from None
    if not stat.S_ISREG(mode):
        raise InputError(f"{shown}: is a pipe or a device, not a plain file; give {what}")
    if len(content) > most_bytes:
        raise InputError(f"{shown}: is too large for {what}")
    return content
