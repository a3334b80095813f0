"""The evening as lines: one an event, for pipes and scripts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import typer

from polarcheck import report
from polarcheck.cli.output import warn
from polarcheck.errors import Notice

if TYPE_CHECKING:
    from polarcheck.night import Event
    from polarcheck.watch import Answer, EveningSchema

__all__ = ["Lines"]


class Lines:
    """Prints each event as it happens."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self._warned: set[str] = set()

    def begin(self) -> None:
        """Nothing to prepare."""

    def event(self, event: Event, view: EveningSchema) -> None:
        """Print a line, as text or as it stands in the night's file."""
        line = (
            json.dumps(event.to_dict(), ensure_ascii=True)
            if self._as_json
            else report.event_line(event, view)
        )
        typer.echo(line)

    def view(self, view: EveningSchema) -> None:
        """Print warnings that were not printed before."""
        new = [entry for entry in view.warnings if entry.text not in self._warned]
        self._warned |= {entry.text for entry in new}
        warn(Notice(entry.code, entry.text) for entry in new)

    def look(self) -> None:
        """Nothing is drawn."""

    def pressed(self, key: str) -> Answer | None:
        """No key means anything here."""

    def end(self) -> None:
        """Nothing to restore."""
