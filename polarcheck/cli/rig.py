"""``polarcheck rig``: write a rig file, and show what follows from it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck import report, rig
from polarcheck.cli.command import command
from polarcheck.cli.groups import WholeSummaries
from polarcheck.cli.output import JsonOption, show, tell
from polarcheck.cli.rig_asking import found_rig
from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.rig import RIG_FILE
from polarcheck.writing import write_text

__all__ = ["rig_commands"]

rig_commands = typer.Typer(
    cls=WholeSummaries,
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Write a rig file, or show what follows from it.\n\n"
    "The rig file says what your telescope, camera, mount and site are like. Write one, fill it in, and see what "
    "follows from it.\n\nExample: polarcheck rig new",
)


@rig_commands.command("new")
@command
def new_command(
    file: Annotated[Path, typer.Argument(help="Where to write it.", metavar="FILE.toml")] = Path(RIG_FILE),
    example: Annotated[
        bool,
        typer.Option("--example", help="With the values of an invented rig in force, to try things out."),
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Write a rig file to fill in.

    It holds every key with its unit, an example, what it is for and how to measure it. Every value is commented
    out until you put your own. A file that is there stays as it is.

    Example: polarcheck rig new
    """
    _check_place(file, force)
    write_text(file, report.rig_template(example))
    name = printable(file)
    said = "with the values of an invented rig" if example else "with every value commented out"
    tell(f"{name} written, {said}.\nPut in your own, then: polarcheck rig show {name}")


def _check_place(file: Path, force: bool) -> None:
    name = printable(file)
    if file.is_dir():
        raise InputError(f"{name}: is a folder; name a file in it: {printable(file / RIG_FILE)}")
    if not file.parent.is_dir():
        raise InputError(f"{name}: there is no folder {printable(file.parent)}; make it, or name another")
    if file.exists() and not force:
        raise InputError(f"{name}: is there already and was left as it is; give another name, or --force")


@rig_commands.command("show")
@command
def show_command(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="The rig file; unless named, rig.toml in this folder, else in your configuration folder.",
            metavar="FILE.toml",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show what follows from a rig file.

    Each number comes with its formula; what the file leaves open, with the command that would use it.

    Example: polarcheck rig show rig.toml
    """
    summary = rig.summarise_rig(_rig(file))
    show(as_json, lambda: report.rig_object(summary), lambda: report.rig_text(summary), summary.notices)


def _rig(named: Path | None) -> rig.Rig:
    hint = "write one to fill in: polarcheck rig new"
    if named is not None and named.is_dir():
        raise InputError(
            f"{printable(named)}: is a folder; name the file in it: {printable(named / RIG_FILE)}"
        )
    if named is not None and not named.exists():
        raise InputError(f"{printable(named)}: is not there; {hint} {printable(named)}")
    found = found_rig(named, [], told=False)
    if found is None:
        raise InputError(f"no {RIG_FILE} here or in {printable(rig.configuration_folder())}; {hint}")
    return found
