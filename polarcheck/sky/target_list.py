"""Lists of targets in text files."""

from __future__ import annotations

from pathlib import Path

from polarcheck.errors import InputError, Notice
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable
from polarcheck.site import parse_target
from polarcheck.sky.catalogue import Target, find_target

__all__ = ["read_targets"]

_MOST = 10_000
_MOST_TOLD = 20
_TEXT_BYTES = 1_000_000


def read_targets(path: Path) -> tuple[tuple[Target, ...], tuple[Notice, ...]]:
    """Read a list of targets from a text file.

    Parameters
    ----------
    path : pathlib.Path
        One target a line: a catalogue name, or ``RA,DEC``, or ``name: RA,DEC``. Empty lines and what follows a ``#``
        do not count.

    Returns
    -------
    tuple of Target
    tuple of Notice
        The lines that cannot be used, each with its number and the reason.

    Raises
    ------
    InputError
        The file cannot be read, names too many targets, or none that can be used.
    """
    name = printable(path.name)
    lines = [(number, line.split("#")[0].strip()) for number, line in enumerate(_lines(path, name), 1)]
    lines = [(number, line) for number, line in lines if line]
    if not lines:
        raise InputError(f"{name}: names no target; give one a line: a name, RA,DEC, or name: RA,DEC")
    if len(lines) > _MOST:
        raise InputError(f"{name}: names {len(lines)} targets; at most {_MOST} are worked on at once")
    targets: list[Target] = []
    bad: list[str] = []
    for number, line in lines:
        try:
            targets.append(_target(line))
        except InputError as error:
            bad.append(f"{name}, line {number}: {error}")
    if not targets:
        raise InputError("\n".join(_told(bad)))
    return tuple(targets), tuple(Notice("target-unknown", text) for text in _told(bad))


def _told(bad: list[str]) -> list[str]:
    more = len(bad) - _MOST_TOLD
    return [*bad[:_MOST_TOLD], f"and {more} lines more cannot be used"] if more > 0 else bad


def _lines(path: Path, name: str) -> list[str]:
    raw = read_plain_file(path, _TEXT_BYTES, "a list of targets", name)
    try:
        return raw.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise InputError(f"{name}: is no UTF-8 text; give one target a line") from None


def _target(line: str) -> Target:
    label, colon, rest = line.partition(": ")
    if colon and "," in rest:
        ra, dec = parse_target(rest)
        return Target(printable(label, 40), ra, dec)
    return find_target(line)
