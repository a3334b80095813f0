"""The commands, gathered."""

from __future__ import annotations

import typer

from polarcheck import __version__
from polarcheck.cli.correct import correct_command
from polarcheck.cli.follow import follow_command
from polarcheck.cli.measure import measure_command
from polarcheck.cli.rig import rig_commands
from polarcheck.cli.simulate import simulate_command

__all__ = ["app"]

app = typer.Typer(
    name="polarcheck",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 79},
    help="How far is the mount's polar axis off, in which direction, and how sure is that? Point it at a "
    "folder of plate-solved frames between which the mount turned in right ascension only.\n\n"
    "Example: polarcheck measure frames/",
)
app.command("measure")(measure_command)
app.command("correct")(correct_command)
app.command("follow")(follow_command)
app.command("simulate")(simulate_command)
app.add_typer(rig_commands, name="rig")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"polarcheck {__version__}")
        raise typer.Exit


@app.callback()
def _polarcheck(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Show the version."
    ),
) -> None:
    pass
