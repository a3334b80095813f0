"""One table says what the command line calls the library's parameters; all in it is there, and all errors are in it."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
import typer

import polarcheck
from polarcheck.cli.app import app
from polarcheck.cli.naming import _OPTIONS, given_option, hint

COMMANDS: dict[str, Any] = dict(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
ROOT = Path(polarcheck.__file__).parent
CARRIERS = {"InputError", "GeometryError", "FrameError", "UnusableError", "Notice", "ParameterError"}


def named_by_the_library() -> set[str]:
    """Names of parameters that errors and notices carry: in a list or tuple, or the last word of a ParameterError."""
    found: set[str] = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or ast.unparse(node.func) not in CARRIERS:
                continue
            lists = [a for a in node.args if isinstance(a, ast.List | ast.Tuple)]
            if ast.unparse(node.func) == "ParameterError":
                lists = [ast.Tuple(elts=node.args[1:])]
            found |= {e.value for group in lists for e in group.elts if isinstance(e, ast.Constant)}
    return found


def context_of(name: str, *arguments: str) -> typer.Context:
    return COMMANDS[name].make_context(name, list(arguments))  # type: ignore[no-any-return]


def test_every_option_of_the_table_is_one_of_some_command() -> None:
    options = {opt for c in COMMANDS.values() for parameter in c.params for opt in parameter.opts}
    assert set(_OPTIONS.values()) <= options


def test_every_parameter_that_the_library_names_has_its_option() -> None:
    names = named_by_the_library()
    assert {"site", "clock_ahead_s", "utc", "pressure_hpa"} <= names
    assert names - set(_OPTIONS) <= {"wavelength_um"}  # which no option sets


def test_hint_shows_each_option_with_what_it_takes() -> None:
    context = context_of("measure", "frames/")
    assert hint(context, ["site"]) == "See --site LAT,LON[,HEIGHT]."
    said = hint(context, ["recursive", "site", "clock_ahead_s"])
    assert said == "See --recursive, --site LAT,LON[,HEIGHT] or --clock-ahead DURATION."
    assert hint(context, ["focal_length_mm"]) == ""
    assert hint(None, ["site"]) == ""


@pytest.mark.parametrize(("parameter", "option"), [("pressure_hpa", "--pressure"), ("temperature_c", None)])
def test_only_what_was_typed_counts_as_given(parameter: str, option: str | None) -> None:
    assert given_option(context_of("measure", "frames/", "--pressure", "0"), parameter) == option
