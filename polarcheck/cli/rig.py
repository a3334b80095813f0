"""``polarcheck rig``: write a rig file, and show what follows from it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck.cli.shared import ending, found_rig, write_text
from polarcheck.rig import RIG_FILE

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["rig_commands"]

rig_commands = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    short_help="Write a rig file, or show what follows from it.",
    help="The rig file says what your telescope, camera, mount and site are like. Write one, fill it in, and see "
    "what follows from it.\n\nExample: polarcheck rig new",
)


@rig_commands.command("new")
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
    with ending():
        from polarcheck.printable import printable
        from polarcheck.report import rig_template

        _check_place(file, force)
        write_text(file, rig_template(example))
        name = printable(file)
        said = "with the values of an invented rig" if example else "with every value commented out"
        typer.echo(f"{name} written, {said}.\nPut in your own, then: polarcheck rig show {name}")


def _check_place(file: Path, force: bool) -> None:
    from polarcheck.errors import InputError
    from polarcheck.printable import printable

    name = printable(file)
    if file.is_dir():
        raise InputError(f"{name}: is a folder; name a file in it: {printable(file / RIG_FILE)}")
    if not file.parent.is_dir():
        raise InputError(f"{name}: there is no folder {printable(file.parent)}; make it, or name another")
    if file.exists() and not force:
        raise InputError(f"{name}: is there already and was left as it is; give another name, or --force")


@rig_commands.command("show")
def show_command(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="The rig file; unless named, rig.toml in this folder, else in your configuration folder.",
            metavar="FILE.toml",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """Show what follows from a rig file.

    Each number comes with its formula; what the file leaves open, with the command that would use it.

    Example: polarcheck rig show rig.toml
    """
    with ending():
        from polarcheck.report import json_text, notice_text, rig_object, rig_text
        from polarcheck.rig import summarise_rig

        summary = summarise_rig(_rig(file))
        typer.echo(json_text(rig_object(summary)) if as_json else rig_text(summary))
        for notice in summary.notices:
            typer.echo(notice_text(notice), err=True)


def _rig(named: Path | None) -> Rig:
    from polarcheck.errors import InputError
    from polarcheck.printable import printable
    from polarcheck.rig import configuration_folder

    hint = "write one to fill in: polarcheck rig new"
    if named is not None and named.is_dir():
        raise InputError(
            f"{printable(named)}: is a folder; name the file in it: {printable(named / RIG_FILE)}"
        )
    if named is not None and not named.exists():
        raise InputError(f"{printable(named)}: is not there; {hint} {printable(named)}")
    rig = found_rig(named, [], told=False)
    if rig is None:
        raise InputError(f"no {RIG_FILE} here or in {printable(configuration_folder())}; {hint}")
    return rig
