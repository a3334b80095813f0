"""An option whose value may be left out: `--page` means `--page here`, `--page lan` is itself."""

from __future__ import annotations

from typing import Any

import typer

__all__ = ["with_optional_values"]


def with_optional_values(**optional: tuple[str, ...]) -> type[typer.core.TyperCommand]:
    """Return a kind of command on which options may stand without their value.

    Parameters
    ----------
    **optional : tuple of str
        Name of the option without hyphens, and its values; the first one is meant where none follows.
    """

    class Command(typer.core.TyperCommand):
        def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
            return list(super().parse_args(ctx, _completed(args, optional)))

    return Command


def _completed(args: list[str], optional: dict[str, tuple[str, ...]]) -> list[str]:
    completed = []
    for i, word in enumerate(args):
        following = args[i + 1] if i + 1 < len(args) else ""
        completed.append(word)
        values = optional.get(word.removeprefix("--")) if word.startswith("--") else None
        if values is not None and following not in values:
            completed.append(values[0])
    return completed
