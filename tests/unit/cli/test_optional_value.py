"""An option whose value may be left out."""

from __future__ import annotations

import pytest
import typer
from typer.testing import CliRunner

from polarcheck.cli.optional_value import with_optional_values


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (["F"], "F None"),
        (["F", "--page"], "F here"),
        (["--page", "F"], "F here"),
        (["F", "--page", "lan"], "F lan"),
        (["--page", "lan", "F"], "F lan"),
        (["F", "--page", "--plain"], "F here"),
    ],
)
def test_value_may_follow_or_not(words: list[str], shown: str) -> None:
    app = typer.Typer()

    @app.command(cls=with_optional_values(page=("here", "lan")))
    def command(folder: str, page: str | None = None, plain: bool = False) -> None:
        typer.echo(f"{folder} {page}")

    assert CliRunner().invoke(app, words).stdout == f"{shown}\n"


def test_no_words_at_all_are_a_wrong_command_line() -> None:
    app = typer.Typer()

    @app.command(cls=with_optional_values(page=("here", "lan")))
    def command(folder: str, page: str | None = None) -> None:
        typer.echo(f"{folder} {page}")

    assert CliRunner().invoke(app, []).exit_code == 2
