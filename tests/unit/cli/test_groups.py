"""Help of a group: each summary whole."""

from __future__ import annotations

import typer
from typer.testing import CliRunner

from polarcheck.cli.groups import WholeSummaries

LONG = "Tell " + "of many things, " * 60 + "and end."


def test_first_sentence_is_whole_however_long() -> None:
    app = typer.Typer(cls=WholeSummaries, rich_markup_mode=None)
    app.command("one", help=f"{LONG} And a second one.")(lambda: None)
    app.command("two", help="Short.")(lambda: None)
    said = " ".join(CliRunner().invoke(app, ["--help"]).stdout.split())
    assert LONG in said
    assert "And a second" not in said
