"""Groups of options are written out one by one for whoever reads the command line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

import pytest
import typer
from typer.testing import CliRunner

from polarcheck.cli.command import command
from polarcheck.errors import InputError, ParameterError
from tests.commands import wrong


@dataclass(frozen=True, kw_only=True)
class Inner:
    height: Annotated[float, typer.Option(help="How high.", metavar="M")] = 2.0


@dataclass(frozen=True, kw_only=True)
class Outer:
    names: Annotated[list[str], typer.Argument(help="Who.", metavar="NAME")]
    inner: Inner
    site: Annotated[str | None, typer.Option("--site", help="Where.", metavar="LAT,LON")] = None


def invoked(function: Callable[..., None], *arguments: str) -> Any:
    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    app.command()(command(function))
    return CliRunner().invoke(app, list(arguments))


def test_groups_within_groups_come_whole_to_the_function() -> None:
    got: list[Any] = []

    def told(*, first: Outer, loud: Annotated[bool, typer.Option("--loud", help="Shout.")] = False) -> None:
        got.extend([first, loud])

    assert invoked(told, "a", "b", "--height", "3.5", "--loud").exit_code == 0
    assert got == [Outer(names=["a", "b"], inner=Inner(height=3.5), site=None), True]


def test_options_stand_in_the_help_in_the_order_of_the_groups() -> None:
    def told(*, loud: Annotated[bool, typer.Option("--loud", help="Shout.")] = False, first: Outer) -> None:
        """Say so.

        Example: told a
        """

    shown = invoked(told, "--help").stdout
    assert [shown.index(option) for option in ("--loud", "--height M", "--site LAT,LON")] == sorted(
        shown.index(option) for option in ("--loud", "--height M", "--site LAT,LON")
    )
    assert "Say so." in shown
    assert "[default: 2.0]" in shown


def test_argument_of_a_group_without_default_is_required() -> None:
    def told(*, first: Outer) -> None:
        pytest.fail("was called")

    result = invoked(told)
    assert result.exit_code == 2
    assert "NAME" in result.output


def test_two_options_of_one_name_are_a_fault_of_the_program() -> None:
    def told(*, first: Inner, second: Inner) -> None:
        pytest.fail("was called")

    with pytest.raises(TypeError, match="height"):
        command(told)


def raising(error: Exception) -> Callable[..., None]:
    def told(*, first: Outer) -> None:
        raise error

    return told


def test_error_names_the_options_that_the_command_has_and_no_other() -> None:
    result = invoked(raising(InputError("no place", ["site", "clock_ahead_s"])), "a")
    assert result.exit_code == 1
    assert result.output == "polarcheck: no place\nSee --site LAT,LON.\n"


def test_error_without_parameters_stands_alone() -> None:
    assert invoked(raising(InputError("no place")), "a").output == "polarcheck: no place\n"


def test_impossible_parameter_is_a_wrong_command_line_only_where_an_option_gave_it() -> None:
    error = ParameterError("nobody lives there", "site")
    assert invoked(raising(error), "a").exit_code == 1
    given = invoked(raising(error), "a", "--site", "91,0")
    assert given.exit_code == 2
    assert "--site" in given.output
    assert "nobody lives there" in given.output


def test_wrong_option_names_its_own_command() -> None:
    """What a command line misses is told with the usage of that command, not of the whole program."""
    said = wrong("drift", "--error", "1,2", "--site", "47.3,11.2")
    assert "Try 'polarcheck drift --help'" in said
    assert "--target" in said
