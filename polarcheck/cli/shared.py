"""What commands share: option texts to values, and how they end."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import typer

if TYPE_CHECKING:
    from polarcheck.rig import Rig
    from polarcheck.site import Site

__all__ = [
    "ending",
    "found_rig",
    "pair",
    "parsed",
    "progress_line",
    "read_rig_option",
    "say",
    "site_option",
    "usage_error",
    "writable",
    "write_text",
]

Value = TypeVar("Value")

usage_error: type[Exception] = typer.BadParameter.__mro__[1]
"""A wrong command line, whichever library stands behind typer."""


def say(message: str) -> None:
    """Write a message on stderr: printable, wrapped to 79 columns; a name longer than that stays whole."""
    import textwrap

    from polarcheck.printable import printable

    for line in message.split("\n"):
        body = line.lstrip(" ")
        margin = " " * (len(line) - len(body))
        # the program's name stays before the first word, however long that is
        whole = printable(body, 2000).replace("polarcheck: ", "polarcheck:\0", 1)
        filled = textwrap.fill(
            whole,
            79,
            initial_indent=margin,
            subsequent_indent=margin + "  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        typer.echo(filled.replace("\0", " "), err=True)


@contextmanager
def ending() -> Iterator[None]:
    """Turn an error of the library into a few lines on stderr and exit code 1; nothing ends in a traceback."""
    from polarcheck.errors import PolarcheckError
    from polarcheck.printable import printable

    try:
        yield
    except (typer.Exit, typer.Abort, usage_error, BrokenPipeError):
        raise
    except (PolarcheckError, OSError) as error:
        say("polarcheck: " + (str(error).rstrip() or type(error).__name__))
        raise typer.Exit(1) from None
    except MemoryError:
        say("polarcheck: out of memory; give fewer or smaller files")
        raise typer.Exit(1) from None
    except Exception as error:
        if os.environ.get("POLARCHECK_TRACEBACK"):
            raise
        say(
            f"polarcheck: a fault of the program ({type(error).__name__}: {printable(error)}). Nothing was lost. "
            "Please report it, with the output of the same command after setting POLARCHECK_TRACEBACK=1."
        )
        raise typer.Exit(1) from None


def parsed(option: str, text: str, parse: Callable[[str], Value]) -> Value:
    """Parse an option's text; what cannot be parsed is a wrong command line, exit code 2."""
    from polarcheck.errors import InputError

    try:
        return parse(text)
    except InputError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


def pair(text: str) -> tuple[float, float]:
    """Parse two numbers, ``AZ,ALT``."""
    from math import isfinite

    from polarcheck.errors import InputError
    from polarcheck.printable import printable

    parts = text.split(",")
    try:
        first, second = (float(part) for part in parts)
    except ValueError:
        raise InputError(f"{printable(text)!r} is not two numbers with a comma, such as 23.4,-11.8") from None
    if not (isfinite(first) and isfinite(second)):
        raise InputError(f"{printable(text)!r} is not two finite numbers")
    return first, second


def read_rig_option(path: Path | None) -> Rig | None:
    """Read the rig file, if one was named."""
    if path is None:
        return None
    from polarcheck.rig import read_rig

    return read_rig(path)


def found_rig(option: Path | None, offered: Sequence[Path], *, told: bool = True) -> Rig | None:
    """Read the rig file in use; one that nobody named is told on stderr, with why it is the one."""
    from polarcheck.rig import find_rig

    found = find_rig(option, [folder for offer in offered for folder in _folders(offer)])
    if found is None:
        return None
    from dataclasses import replace

    from polarcheck.errors import InputError
    from polarcheck.printable import printable
    from polarcheck.rig import read_rig

    try:
        rig = read_rig(found.path)
    except InputError as error:
        if option is not None:
            raise
        raise InputError(
            f"{error}\nIt was found without being named; mend it, move it, or name another with --rig."
        ) from None
    if option is None and told:
        say(f"Rig file: {printable(found.path)}, found {found.place}.")
    return replace(rig, place=found.place)


def _folders(offer: Path) -> list[Path]:
    """Return the folders of a folder, a file or a pattern."""
    if offer.is_dir():
        return [offer]
    if any(sign in str(offer.parent) for sign in "*?["):
        import glob

        return [Path(folder) for folder in sorted(glob.glob(str(offer.parent)))]  # noqa: PTH207 - may be absolute
    return [offer.parent]


def site_option(text: str | None) -> Site | None:
    """Return the site that the option names, else None."""
    from polarcheck.site import parse_site

    return None if text is None else parsed("--site", text, parse_site)


def progress_line(few: int = 20) -> Callable[[int, int], None] | None:
    """Return a function that shows progress on one line of a terminal; None where nobody watches.

    Of so few frames nothing is shown.
    """
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        if total > few and (done % max(1, total // 200) == 0 or done == total):
            end = "\r" + " " * 40 + "\r" if done == total else ""
            typer.echo(f"\rreading frame {done} of {total}{end}", err=True, nl=False)

    return show


def writable(option: str, path: Path | None, endings: Collection[str] = ()) -> None:
    """Refuse a name under which nothing can be kept, before the work begins.

    A name without the right ending is a wrong command line (a result must not take the place of a frame), and so is
    none; a folder that is missing or in the way is an `InputError`.
    """
    if path is None:
        return
    from polarcheck.errors import InputError
    from polarcheck.printable import printable

    name = printable(path)
    if not path.name:
        raise typer.BadParameter("give the name of a file", param_hint=option)
    if endings and path.suffix.lower() not in endings:
        raise typer.BadParameter(f"'{name}' must end in {' or '.join(endings)}", param_hint=option)
    if path.is_dir():
        raise InputError(f"{name}: is a folder; {option} needs the name of a file in it")
    if not path.parent.is_dir():
        raise InputError(f"{name}: there is no folder {printable(path.parent)}; make it, or name another")


def write_text(path: Path, text: str) -> None:
    """Write a result whole or not at all: to a neighbour first, then into place."""
    neighbour = path.with_name(path.name + ".part")
    try:
        neighbour.write_text(text + "\n", encoding="utf-8")
        neighbour.replace(path)
    except OSError as error:
        from polarcheck.errors import InputError
        from polarcheck.printable import printable

        with suppress(OSError):
            neighbour.unlink(missing_ok=True)
        raise InputError(f"{printable(path)}: cannot be written ({error.strerror or error})") from None
