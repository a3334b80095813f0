"""Where answers go: the terminal, as text or JSON, and files."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from polarcheck import alignment, report
from polarcheck.cli.ending import hint_of_running, say
from polarcheck.errors import InputError, Notice
from polarcheck.printable import printable
from polarcheck.writing import is_ours, put_beside, write_text

__all__ = ["ForceOption", "JsonOption", "OutputOptions", "show", "tell", "warn", "writable", "write_result"]

ForceOption = Annotated[
    bool,
    typer.Option(
        "--force",
        help="Write over a file that polarcheck did not make, and over a result without keeping that beside.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputOptions:
    """A picture beside the answer, and the answer as JSON."""

    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None
    force: ForceOption = False
    as_json: JsonOption = False

    def check(self) -> None:
        """Refuse a picture that cannot be kept, before the work begins."""
        writable("--plot", self.plot, [".png", ".svg"], force=self.force)

    def draw(self, save: Callable[[Path], None]) -> None:
        """Save the picture, if one was asked for."""
        if self.plot is not None:
            save(self.plot)


def show(
    as_json: bool,
    answer: Callable[[], Any],
    text: Callable[[], str],
    notices: Iterable[Notice] = (),
) -> None:
    """Print the answer, as JSON or as text, and warnings on stderr."""
    typer.echo(report.json_text(answer()) if as_json else text())
    warn(notices)


def tell(text: str) -> None:
    """Print what was done, each line wrapped to the terminal."""
    for line in text.split("\n"):
        typer.echo(report.wrapped(line, "", "  "))


def warn(notices: Iterable[Notice]) -> None:
    """Print warnings on stderr, with the options of the running command that would mend them."""
    for notice in notices:
        hint = hint_of_running(notice.parameters)
        whole = Notice(notice.code, f"{notice.text} {hint}") if hint else notice
        typer.echo(report.notice_text(whole), err=True)


def writable(option: str, path: Path | None, endings: Collection[str] = (), *, force: bool = False) -> None:
    """Refuse a name under which nothing can be kept, before the work begins.

    A name without the right ending is a wrong command line (a result must not take the place of a frame), and so is
    none; a folder that is missing or in the way is an `InputError`, and so is a file that this program did not make,
    unless the user insists.
    """
    if path is None:
        return
    name = printable(path)
    if not path.name:
        raise typer.BadParameter("give the name of a file", param_hint=option)
    if endings and path.suffix.lower() not in endings:
        raise typer.BadParameter(f"'{name}' must end in {' or '.join(endings)}", param_hint=option)
    if path.is_dir():
        raise InputError(f"{name}: is a folder; {option} needs the name of a file in it")
    if not path.parent.is_dir():
        raise InputError(f"{name}: there is no folder {printable(path.parent)}; make it, or name another")
    if path.exists() and not force and not is_ours(path):
        raise InputError(
            f"{name}: is there already, was not made by polarcheck, and was left as it is; give another name, or --force"
        )


def _is_result(path: Path) -> bool:
    try:
        alignment.read_alignment(path)
    except InputError:
        return False
    return True


def write_result(path: Path, text: str, *, force: bool) -> None:
    """Keep a result; another one in its place stays beside it under a number, unless the user insists.

    What cannot be read as a result is of no use to any command, and gives way.
    """
    older = None if force or not _is_result(path) else put_beside(path, text)
    write_text(path, text)
    if older is not None:
        say(f"{printable(path.name)} held another result; that is kept as {printable(older.name)}.")
