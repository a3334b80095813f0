"""The commands, gathered: a table of names, of which each is loaded when it is asked for."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, MutableMapping, Sequence
from importlib import import_module
from typing import Any

import typer

from polarcheck import __version__
from polarcheck.cli.ending import STOPPED, say, usage_error
from polarcheck.cli.groups import WholeSummaries

__all__ = ["SUMMARIES", "app"]

SUMMARIES = {
    "rough": "Tell what to set before dark and at dusk: latitude scale, compass, Sun's shadow, pole star.",
    "plan": "Tell which frames to take: the declination, and how far to turn between them.",
    "solve": "Plate-solve frames with the solver on this machine, and keep the solutions beside them.",
    "measure": "Measure the polar axis from solved frames.",
    "correct": "Tell what to do next: turn which knob how far, take which frames first, or stop.",
    "follow": "See where the axis went after the knobs were turned, from one frame or several.",
    "watch": "Follow the folder through the evening: frames as they come, and what to do now.",
    "night": "Tell a night: each finding of the axis, what was told and done, what came of it and what was learned.",
    "drift": "Tell how a target drifts, and how its field rotates, while the mount tracks unguided.",
    "exposure": "Tell how long one exposure of a target may be before stars move more than you tolerate.",
    "map": "Map the longest exposure over the sky, hour angle by declination.",
    "timeline": "Follow a target from dusk to dawn: altitude, Moon, and the longest exposure at each time.",
    "stars": "Measure the stars of frames: how many, how wide, how long, and whether the mount still moved.",
    "report": "Make one page of a night, to keep and to show.",
    "simulate": "Write solved frames of a mount with a known axis error: practice without a sky.",
    "rig": "Write a rig file, or show what follows from it.",
}
"""The commands in the order of the help; each begins its own help with this sentence."""

_MODULES = {"map": "sky_map"}
"""Where a command's module does not have its name."""


class _Table(MutableMapping[str, Any]):
    """The commands by name; a module is imported when its command is first asked for."""

    def __init__(self, names: Mapping[str, str]) -> None:
        self._loaded: dict[str, Any] = dict.fromkeys(names)

    def __getitem__(self, name: str) -> Any:
        if self._loaded[name] is None:
            self._loaded[name] = _load(name)
        return self._loaded[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        del self._loaded[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._loaded)

    def __len__(self) -> int:
        return len(self._loaded)


def _load(name: str) -> Any:
    """Import a command: a module `NAME` holds `NAME_command`, or `NAME_commands` where it has commands of its own.

    Where it holds `COMMAND`, that kind of command reads its words.
    """
    module = import_module(f"polarcheck.cli.{_MODULES.get(name, name)}")
    group = getattr(module, f"{name}_commands", None)
    if group is not None:
        return typer.main.get_command(group)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    alone.command(name, cls=getattr(module, "COMMAND", None))(getattr(module, f"{name}_command"))
    return typer.main.get_command(alone)


class _Commands(WholeSummaries):
    """The commands; a wrong command line is told printable and wrapped, as everything else is."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = _Table(SUMMARIES)

    def summaries(self) -> dict[str, str]:
        """Return the summaries from the table, so that the help loads no command."""
        return SUMMARIES

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
            code = STOPPED
        if code == STOPPED:
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
