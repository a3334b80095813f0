"""The night's file: JSON lines, appended and never rewritten, so that a cut cord costs one line at most."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from io import RawIOBase
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from polarcheck.errors import InputError, Notice
from polarcheck.night.events import Event, NightEvent, read_event
from polarcheck.printable import printable
from polarcheck.writing import NIGHT_FILE

__all__ = ["NIGHT_FILE", "NightLog", "NightRecord"]

_LONGEST_LINE = 64_000_000  # bytes, as a kept result's; a line of a thousand frames takes 0.3 MB
_LARGEST = 512_000_000  # bytes; a night has some tens of lines


_FINDING = re.compile(rb'"event": "(?:measured|followed|moved)"')


@dataclass(frozen=True, slots=True)
class NightRecord:
    """What a night's file holds.

    Attributes
    ----------
    events : tuple of NightEvent
        In the order in which they were written.
    damaged : tuple of int
        Numbers of lines, counted from 1, that are no events; they are passed over.
    """

    events: tuple[NightEvent, ...]
    damaged: tuple[int, ...] = ()

    def notices(self, name: str) -> tuple[Notice, ...]:
        """Say which lines of the file of that (printable) name could not be read."""
        if not self.damaged:
            return ()
        lines = ", ".join(str(number) for number in self.damaged[:5])
        more = f" and {len(self.damaged) - 5} more" if len(self.damaged) > 5 else ""
        what = f"line {lines}" if len(self.damaged) == 1 else f"lines {lines}{more}"
        text = f"{name}: {what} cannot be read (cut off, or edited); what happened there is lost, the rest holds."
        return (Notice("night-damaged", text),)


class NightLog:
    """The file in which a night is remembered.

    Parameters
    ----------
    folder : pathlib.Path
        The frames' folder.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NIGHT_FILE

    def append(self, event: Event) -> None:
        """Write an event as a line of its own, down to the disk.

        A line that was torn before keeps its own damage: the new one begins on a fresh line. What a full disk took
        only in part is taken away again.

        Raises
        ------
        InputError
            The file cannot be written, is a link or no plain file, or is as large as can be read; nothing that
            was there is lost.
        """
        line = _line(event)
        name = printable(self.path.name)
        if self.path.is_symlink() or (self.path.exists() and not self.path.is_file()):
            raise InputError(
                f"{name} is a link or no plain file; move it away, so that the night can be kept"
            )
        try:
            with self.path.open("a+b", buffering=0) as file:
                end = file.seek(0, os.SEEK_END)
                if len(line) >= _LONGEST_LINE or end + len(line) >= _LARGEST:
                    raise InputError(
                        f"{name} would grow too large to be read again; move it away to begin anew"
                    )
                torn = _ends_torn(end, self.path)
                _write_whole(file, b"\n" + line if torn else line, end)  # at once: others may append, too
                os.fsync(file.fileno())
        except OSError as error:
            raise InputError(f"{name} cannot be written ({printable(error.strerror or error)})") from None

    def knows(self, event: Event) -> bool:
        """Return whether an event is a finding that only repeats the last one, the mount not having been moved since.

        Its time of writing and how its files were named do not count.
        """
        if not _FINDING.search(_line(event)):
            return False
        try:
            last = read_event(_last_finding(self.path))
        except (OSError, ValidationError):
            return False
        return _finding(last) == _finding(event)

    def read(self) -> NightRecord:
        """Return all events; no file holds none.

        Raises
        ------
        InputError
            The file cannot be read, or is far larger than a night's.
        """
        name = printable(self.path.name)
        try:
            if not self.path.exists():
                return NightRecord(())
            if not self.path.is_file() or self.path.stat().st_size > _LARGEST:
                raise InputError(f"{name} is no night's file: not a plain file, or too large")
            events, damaged = [], []
            for number, line in _lines(self.path):
                try:
                    events.append(read_event(line))
                except ValidationError:
                    damaged.append(number)
        except OSError as error:
            raise InputError(f"{name} cannot be read ({printable(error.strerror or error)})") from None
        return NightRecord(tuple(events), tuple(damaged))


def _line(event: Event) -> bytes:
    return json.dumps(event.to_dict(), ensure_ascii=True, allow_nan=False).encode("ascii") + b"\n"


def _write_whole(file: RawIOBase, content: bytes, end: int) -> None:
    """Write all of it, or leave the file as it ended before; in one step where the system takes it in one."""
    written = 0
    try:
        while written < len(content):
            written += file.write(content[written:]) or 0
    except OSError:
        with suppress(OSError):
            if file.seek(0, os.SEEK_END) == end + written:  # nobody else has written since
                file.truncate(end)
        raise


def _last_finding(path: Path) -> bytes:
    """Return the last line that tells where the axis is, or that it was moved."""
    last = b""
    for _, line in _lines(path):
        if _FINDING.search(line):  # no text in a line can hold this: its quotes would be escaped
            last = line
    return last


def _finding(event: Event) -> dict[str, Any]:
    """Return what a finding says, its time of writing and how its files were named aside."""
    content = event.to_dict()
    return {key: value for key, value in content.items() if key not in ("time_utc", "inputs", "rig")}


def _ends_torn(size: int, path: Path) -> bool:
    if size == 0:
        return False
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) != b"\n"


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """Lines that hold anything, with their numbers; what is longer than any event is given cut."""
    with path.open("rb") as file:
        number = 0
        while line := file.readline(_LONGEST_LINE):
            number += 1
            while line and not line.endswith(b"\n") and len(line) == _LONGEST_LINE:
                line = file.readline(_LONGEST_LINE)
            if line.strip():
                yield number, line
