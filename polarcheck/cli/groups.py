"""A group of commands whose help gives every summary whole."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

__all__ = ["WholeSummaries"]


class WholeSummaries(TyperGroup):
    """Commands in the order of the help, each with its first sentence, never cut."""

    def list_commands(self, _: Any) -> list[str]:
        """Return the names in the order of the help."""
        return list(self.commands)

    def summaries(self) -> dict[str, str]:
        """Return the first sentence of every command."""
        return {name: c.get_short_help_str(len(c.help or "")) for name, c in self.commands.items()}

    def format_commands(self, _: Any, formatter: Any) -> None:
        """Write the section of the help that lists the commands."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self.summaries().items()))
