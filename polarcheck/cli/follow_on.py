"""The next command of a night, ready to paste."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.night import NightBook

__all__ = ["correct_on", "correct_tonight", "follow_on"]

_WIDTH = 79
_LONGEST_PATH = 56  # with the command before it a line; a longer one would be torn by the terminal
_THERE = "Then, in the folder of the frames: "
_PLAIN = frozenset("/\\.:_-+~")


def follow_on(
    paths: Sequence[Path] | None, book: NightBook | None, rig: Path | None, turns: bool
) -> str | None:
    """Return the `follow` after a `correct`; None where there is nothing to go on from."""
    if paths and len(paths) == 1 and paths[0].suffix.lower() == ".json":
        kept = paths[0]
        words = ["polarcheck follow", _quoted(kept), "NEW_FRAMES", f"--turned {'told' if turns else '0,0'}"]
        return _line([*words, *_rig(rig), f"--out {_quoted(_after(kept))}"])
    if book is None:
        return None
    frames = "NEW_FRAMES" if _is_here(book.folder) else _quoted(book.folder / "NEW_FRAMES")
    if len(frames) > _LONGEST_PATH:
        return _line(["polarcheck follow", "NEW_FRAMES", *_rig(rig and rig.absolute())], _THERE)
    return _line(["polarcheck follow", frames, *_rig(rig)])


def correct_tonight(book: NightBook, rig: Path | None) -> str:
    """Return the `correct` of the night that a command went on with."""
    night = [] if _is_here(book.folder) else [_quoted(book.path)]
    if night and len(night[0]) > _LONGEST_PATH:
        return _line(["polarcheck correct", *_rig(rig and rig.absolute())], _THERE)
    return _line(["polarcheck correct", *night, *_rig(rig)])


def _is_here(folder: Path) -> bool:
    return folder.resolve() == Path.cwd().resolve()


def correct_on(kept: Path | None, rig: Path | None) -> str | None:
    """Return the `correct` after a result was kept; None where none was."""
    return None if kept is None else _line(["polarcheck correct", _quoted(kept), *_rig(rig)])


def _line(words: list[str], lead: str = "Then: ") -> str:
    """Break a long command where a shell takes it, before an option."""
    line = lead + printable(" ".join(words), 2000)
    if len(line) <= _WIDTH or os.name == "nt":
        return line
    parts = [printable(word, 2000) for word in words]
    lines, current = [], lead + parts[0]
    for part in parts[1:]:
        if len(current) + len(part) + 3 > _WIDTH:
            lines.append(f"{current} \\")
            current = f"  {part}"
        else:
            current += f" {part}"
    return "\n".join([*lines, current])


def _rig(rig: Path | None) -> list[str]:
    return [] if rig is None else [f"--rig {_quoted(rig)}"]


def _quoted(path: Path) -> str:
    """Return a path as a shell takes it: in double quotes where it holds more than plain signs."""
    text = str(path)
    return text if all(sign.isalnum() or sign in _PLAIN for sign in text) else f'"{text}"'


def _after(kept: Path) -> Path:
    """Return a name for the result after a kept one: ``first.json`` goes on as ``first_2.json``, then ``first_3.json``."""
    stem, _, number = kept.stem.rpartition("_")
    if stem and number.isdigit():
        return kept.with_name(f"{stem}_{int(number) + 1}{kept.suffix}")
    return kept.with_name(f"{kept.stem}_2{kept.suffix}")
