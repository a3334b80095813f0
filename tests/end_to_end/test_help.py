"""Every command explains itself, is named in the documentation, and starts without heavy libraries."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from polarcheck import __version__
from polarcheck.cli.app import SUMMARIES, app
from tests.commands import refused, run

M31 = ("--target", "M31", "--at", "2026-11-14T20:00:00", "--for", "10min")
ROOT = Path(__file__).parents[2]
# not pydantic: recent releases of typer load it themselves to read the options of a command
HEAVY = ["numpy", "astropy", "scipy", "matplotlib", "erfa", "PIL", "rawpy"]


def commands(command: Any, name: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Names of all commands and groups, as they are typed after the program's."""
    yield name
    for word, inner in getattr(command, "commands", {}).items():
        yield from commands(inner, (*name, word))


COMMANDS = list(commands(typer.main.get_command(app)))
each_command = pytest.mark.parametrize("name", COMMANDS, ids=" ".join)


def test_help_loads_no_command() -> None:
    program = (
        "import sys\n"
        "from polarcheck.cli import main\n"
        "sys.argv = ['polarcheck', '--help']\n"
        "try:\n"
        "    main()\n"
        "except SystemExit:\n"
        "    pass\n"
        f"print('loaded', [name for name in {list(SUMMARIES)!r} if 'polarcheck.cli.' + name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60, cwd=ROOT
    )
    assert done.stdout.splitlines()[-1] == "loaded []"


def test_help_gives_every_summary_whole() -> None:
    shown = " ".join(run("--help").stdout.split())
    for name, summary in SUMMARIES.items():
        assert f"{name} {summary}" in shown
    assert "…" not in shown
    assert "..." not in shown.split("Commands:")[1]


@pytest.mark.parametrize("name", SUMMARIES)
def test_command_begins_its_own_help_with_its_summary(name: str) -> None:
    command: Any = typer.main.get_command(app)
    assert command.commands[name].help.startswith(SUMMARIES[name] + "\n\n")


def test_the_commands_are_found() -> None:
    assert {("measure",), ("correct",), ("follow",), ("simulate",), ("rig", "new")} <= set(COMMANDS)


@each_command
def test_help_has_an_example_of_its_own_command(name: tuple[str, ...]) -> None:
    result = run(*name, "--help")
    assert result.exit_code == 0
    example = re.search(r"Example: (polarcheck .+)", result.stdout)
    assert example
    assert example[1].startswith(" ".join(["polarcheck", *name]))
    assert run(*name, "-h").stdout == result.stdout


@each_command
def test_help_fits_a_terminal(name: tuple[str, ...]) -> None:
    assert max(map(len, run(*name, "--help").stdout.splitlines())) <= 80


@each_command
def test_every_option_is_explained(name: tuple[str, ...]) -> None:
    command: Any = typer.main.get_command(app)
    for word in name:
        command = command.commands[word]
    for parameter in command.params:
        assert getattr(parameter, "help", None), parameter.name


@pytest.mark.parametrize("name", [name for name in COMMANDS if name], ids=" ".join)
def test_command_is_named_in_the_documentation(name: tuple[str, ...]) -> None:
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    typed = " ".join(["polarcheck", *name])
    assert any(typed in page.read_text(encoding="utf-8") for page in pages)


def test_version_is_the_packages() -> None:
    assert run("--version").stdout == f"polarcheck {__version__}\n"


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["--version"], ["nonsense"]])
def test_start_loads_nothing_heavy(arguments: list[str]) -> None:
    program = (
        "import sys\n"
        "from polarcheck.cli import main\n"
        f"sys.argv = ['polarcheck', *{arguments!r}]\n"
        "try:\n"
        "    main()\n"
        "except SystemExit:\n"
        "    pass\n"
        f"print('loaded', [name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60, cwd=ROOT
    )
    assert done.stdout.splitlines()[-1] == "loaded []"


def test_missing_site_asks_for_it_by_the_option_of_the_command() -> None:
    assert "See --site LAT,LON[,HEIGHT] or --rig FILE.toml." in refused("drift", "--error", "1,2", *M31)


def test_missing_optics_are_asked_for_only_by_options_that_the_command_has() -> None:
    place = ("--error", "1,2", "--site", "47.3,11.2")
    assert "See --focal-length MM, --pixel-size UM, --sensor WxH or --rig FILE.toml." in refused(
        "exposure", *place, *M31[:4]
    )
    said = refused("correct", *place, *M31[:4], "--want", "3min")
    assert "See --rig FILE.toml." in said
    assert "--focal-length" not in said
