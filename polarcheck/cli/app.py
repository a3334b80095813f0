"""The commands, gathered."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import typer
from typer.core import TyperGroup

from polarcheck import __version__
from polarcheck.cli.correct import correct_command
from polarcheck.cli.drift import drift_command
from polarcheck.cli.exposure import exposure_command
from polarcheck.cli.follow import follow_command
from polarcheck.cli.measure import measure_command
from polarcheck.cli.rig import rig_commands
from polarcheck.cli.shared import say, usage_error
from polarcheck.cli.simulate import simulate_command
from polarcheck.cli.sky_map import map_command
from polarcheck.cli.stars import stars_command
from polarcheck.cli.timeline import timeline_command

__all__ = ["app"]

_STOPPED = 130  # what shells give for the interrupt key


class _Commands(TyperGroup):
    """The commands; a wrong command line is told printable and wrapped, as everything else is."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        windows_expand_args: bool = True,
        **extra: Any,
    ) -> Any:
        """Run a command and leave with its exit code, unless `standalone_mode` is off."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, False, windows_expand_args, **extra)
        try:
            code = super().main(args, prog_name, complete_var, False, windows_expand_args, **extra)
        except usage_error as error:
            _show_wrong(error)
            code = 2
        except typer.Abort:
            code = _STOPPED
        if code == _STOPPED:
            say("polarcheck: stopped")
        sys.exit(code if isinstance(code, int) else 0)


def _show_wrong(error: Any) -> None:
    if type(error).__name__ == "NoArgsIsHelpError":  # shows the help, in which nothing is anybody's text
        error.show()
        return
    command = error.ctx.command_path if error.ctx else "polarcheck"
    usage = f"{error.ctx.get_usage()}\n" if error.ctx else ""
    say(f"{usage}Try '{command} --help'.\n")
    # the argument parser's own validator leaves its kind of exception in the text
    say("polarcheck: " + error.format_message().replace("Value error, ", ""))


app = typer.Typer(
    name="polarcheck",
    cls=_Commands,
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
app.command("drift")(drift_command)
app.command("exposure")(exposure_command)
app.command("map")(map_command)
app.command("timeline")(timeline_command)
app.command("stars")(stars_command)
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
