"""The rig file's table about the plate solver: which program, where its index files lie, and whether it always runs."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

__all__ = ["PLACEHOLDERS", "SolverTable"]

PLACEHOLDERS = (
    *("stars", "stars_csv", "image", "folder", "solution", "width", "height"),
    *("scale", "scale_low", "scale_high", "ra", "dec", "radius", "limit"),
)
"""What may stand in braces in a command."""

_PLACEHOLDER = re.compile(r"\{(\w*)\}")
_Word = Annotated[str, Field(min_length=1, max_length=4096)]


class SolverTable(BaseModel):
    """A general plate solver.

    ``command`` is a program with its arguments; a list within it is left out where one of its placeholders is not known.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    always: bool = False
    index_folders: Annotated[list[_Word], Field(max_length=100)] | None = None
    command: Annotated[list[_Word | list[_Word]], Field(min_length=1, max_length=200)] | None = None

    @field_validator("command")
    @classmethod
    def _known(cls, command: list[str | list[str]] | None) -> list[str | list[str]] | None:
        if command is None:
            return None
        if not isinstance(command[0], str):
            raise ValueError("command must begin with a program")
        words = [word for part in command for word in ([part] if isinstance(part, str) else part)]
        for name in (name for word in words for name in _PLACEHOLDER.findall(word)):
            if name not in PLACEHOLDERS:
                known = ", ".join(f"{{{known}}}" for known in PLACEHOLDERS)
                raise ValueError(f"command has an unknown placeholder {{{name}}}; known: {known}")
        if not any("{stars" in word or "{image}" in word for word in words):
            raise ValueError("command must name {stars}, {stars_csv} or {image}, or it has nothing to solve")
        return command
