"""Files written whole or not at all, and nothing of the user's lost on the way.

A file comes into being under a name of its own beside its target, is flushed and synced, and then takes the
target's place in one step. So a full disk, a crash or twenty runs at once leave the old file or a whole new one.
"""

from __future__ import annotations

import os
import re
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import IO

from polarcheck.errors import InputError
from polarcheck.printable import printable

__all__ = [
    "MARK",
    "NIGHT_FILE",
    "is_leftover",
    "is_ours",
    "new_file",
    "put_beside",
    "rewrite_text",
    "write_text",
]

MARK = "polarcheck"
"""What results and pictures say of their maker, so that they are known again."""

NIGHT_FILE = "polarcheck-night.jsonl"
"""Name of the file in the frames' folder in which a night is remembered; the one that this program puts there."""

_HEAD_BYTES = 4096
_RESULT = re.compile(rb'\A\s*\{\s*"schema":\s*"polarcheck\.')
_PICTURE = re.compile(rb"\A(?:\x89PNG\r\n|<\?xml)")
_PAGE = re.compile(rb'\A<!DOCTYPE html>.*<meta name="generator" content="polarcheck ', re.DOTALL)
_BYTE_ORDER_MARK = "\ufeff"


def is_ours(path: Path) -> bool:
    """Return whether a file may be written over: it is a result, a picture or a page of this program, or holds nothing."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return False
        with path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except OSError:
        return False
    if not head or _RESULT.match(head) or _PAGE.match(head):
        return True
    return _PICTURE.match(head) is not None and MARK.encode() in head


def is_leftover(name: str) -> bool:
    """Return whether a name is that of a file whose writing was ended by force."""
    return re.fullmatch(rf"\.{MARK}-[0-9a-f]{{16}}\.part", name) is not None


@contextmanager
def new_file(path: Path, *, keep_link: bool = False, waits: bool = True) -> Iterator[IO[bytes]]:
    """Open a file that takes the place of `path` once all went well, with the modes of what was there.

    Parameters
    ----------
    path : pathlib.Path
        Where it is to be. A symbolic link is followed to a file that `is_ours` only; else it is the link that
        gives way, never what it leads to.
    keep_link : bool
        Whether to follow the link whatever it leads to, as for a file of the user's that is edited.
    waits : bool
        Whether to wait until it is on the disk; not for what is soon written again.

    Yields
    ------
    file object
        Binary, to write into.

    Raises
    ------
    InputError
        It cannot be written; what was there is as it was.
    """
    try:
        target = _target(path, keep_link)
        beside = target.with_name(f".{MARK}-{secrets.token_hex(8)}.part")
        try:
            with beside.open("xb") as stream:
                yield stream
                stream.flush()
                if waits:
                    os.fsync(stream.fileno())
            _like(target, beside)
            beside.replace(target)
        finally:
            with suppress(OSError):
                beside.unlink(missing_ok=True)
        if waits:
            _sync_folder(target.parent)
    except OSError as error:
        raise InputError(
            f"{printable(path)}: cannot be written ({printable(error.strerror or error)})"
        ) from None


def write_text(path: Path, text: str) -> None:
    """Write a text in UTF-8, with a line end at its end; see `new_file`."""
    with new_file(path) as stream:
        stream.write((text + "\n").encode("utf-8"))


def put_beside(path: Path, text: str) -> Path | None:
    """Keep what another text is about to replace: as ``NAME.older-1.json`` beside it, or the first free number.

    Parameters
    ----------
    path : pathlib.Path
        Where the text will be written by `write_text`.
    text : str

    Returns
    -------
    pathlib.Path or None
        Where the old content is now, too; None where there is none, or the same.

    Raises
    ------
    InputError
        It cannot be kept; nothing is lost if the text is then not written.
    """
    try:
        old = path.read_bytes() if path.is_file() else b""
        if not old or old == (text + "\n").encode("utf-8"):
            return None
        for number in count(1):
            beside = path.with_name(f"{path.stem}.older-{number}{path.suffix}")
            with suppress(FileExistsError), beside.open("xb") as stream:
                stream.write(old)
                stream.flush()
                os.fsync(stream.fileno())
                return beside
    except OSError as error:
        raise InputError(
            f"{printable(path)}: holds another result, and there is no room to keep it beside "
            f"({printable(error.strerror or error)}); it was left as it is"
        ) from None
    return None


def rewrite_text(path: Path, text: str) -> None:
    """Write a changed text into a file of the user's: through its link, with its line ends and byte order mark.

    Parameters
    ----------
    path : pathlib.Path
        A text file that exists.
    text : str
        The whole new text, with plain line ends and none at its end.
    """
    try:
        old = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{printable(path)}: cannot be read ({printable(error.strerror or error)})"
        ) from None
    body = text.removeprefix(_BYTE_ORDER_MARK).replace("\r\n", "\n")
    end = "\n"
    if old.count(b"\r\n") * 2 > old.count(b"\n"):
        body, end = body.replace("\n", "\r\n"), "\r\n"
    mark = _BYTE_ORDER_MARK if old.startswith(_BYTE_ORDER_MARK.encode("utf-8")) else ""
    with new_file(path, keep_link=True) as stream:
        stream.write((mark + body + end).encode("utf-8"))


def _target(path: Path, keep_link: bool) -> Path:
    """Return the file that gives way; refuse one that is no plain file, or is read-only."""
    target = path.resolve() if path.is_symlink() and (keep_link or is_ours(path)) else path
    try:
        mode = target.lstat().st_mode
    except FileNotFoundError:
        return target
    if stat.S_ISLNK(mode):
        return target
    if not stat.S_ISREG(mode):
        raise InputError(f"{printable(path)}: is no plain file and was left as it is; give another name")
    if not mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH):
        raise InputError(f"{printable(path)}: is read-only and was left as it is; give another name")
    return target


def _like(old: Path, new: Path) -> None:
    """Give a new file the modes, and where allowed the owner, of the old one."""
    try:
        known = old.lstat()
    except OSError:
        return
    if stat.S_ISREG(known.st_mode):
        with suppress(OSError, AttributeError):
            os.chown(new, known.st_uid, known.st_gid)
        new.chmod(stat.S_IMODE(known.st_mode))


def _sync_folder(folder: Path) -> None:
    """Have the new name outlive a loss of power, where the system lets folders be synced."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
