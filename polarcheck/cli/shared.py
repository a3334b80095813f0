"""What commands share: option texts to values, and how they end."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
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
    "site_option",
    "write_text",
]

Value = TypeVar("Value")


@contextmanager
def ending() -> Iterator[None]:
    """Turn an error of the library into a few lines on stderr and exit code 1; nothing ends in a traceback."""
    from polarcheck.errors import PolarcheckError
    from polarcheck.printable import printable

    try:
        yield
    except (PolarcheckError, OSError) as error:
        lines = str(error).splitlines() or [type(error).__name__]
        typer.echo(
            "\n".join(["polarcheck: " + printable(lines[0], 2000), *(printable(x, 2000) for x in lines[1:])]),
            err=True,
        )
        raise typer.Exit(1) from None
    except (typer.Exit, typer.Abort, typer.BadParameter):
        raise
    except MemoryError:
        typer.echo("polarcheck: out of memory; give fewer or smaller files", err=True)
        raise typer.Exit(1) from None
    except Exception as error:
        if os.environ.get("POLARCHECK_TRACEBACK"):
            raise
        typer.echo(
            f"polarcheck: a fault of the program ({type(error).__name__}: {printable(error)}). Nothing was lost. "
            "Please report it, with the output of the same command after setting POLARCHECK_TRACEBACK=1.",
            err=True,
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


def found_rig(option: Path | None, offered: Sequence[Path]) -> Rig | None:
    """Read the rig file that was named, else the one beside the offered frames, else the user's own, if any."""
    if option is not None:
        return read_rig_option(option)
    from polarcheck.errors import InputError
    from polarcheck.printable import printable
    from polarcheck.rig_finding import find_rig

    path = find_rig(None, [folder for offer in offered for folder in _folders(offer)])
    try:
        return read_rig_option(path)
    except InputError as error:
        raise InputError(
            f"{error}\nThis is {printable(path)}, found without being named; mend it, move it, or name another "
            "with --rig."
        ) from None


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


def progress_line() -> Callable[[int, int], None] | None:
    """Return a function that shows progress on one line of a terminal; None where nobody watches."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        if total > 20 and (done % max(1, total // 200) == 0 or done == total):
            end = "\r" + " " * 40 + "\r" if done == total else ""
            typer.echo(f"\rreading frame {done} of {total}{end}", err=True, nl=False)

    return show


def write_text(path: Path, text: str) -> None:
    """Write a result whole or not at all: to a neighbour first, then into place."""
    neighbour = path.with_name(path.name + ".part")
    try:
        neighbour.write_text(text + "\n", encoding="utf-8")
        neighbour.replace(path)
    except OSError as error:
        from polarcheck.errors import InputError
        from polarcheck.printable import printable

        raise InputError(f"{printable(path)}: cannot be written ({error.strerror or error})") from None
