"""What every JSON object of a result is made of: described keys, finite numbers, null for what is unknown.

A result's own schema stands in the `schema` module of its room. One pydantic model writes it, reads it back where
it can be read back, and gives the JSON Schema in docs/schemas.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, ClassVar, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, SerializerFunctionWrapHandler, model_serializer

from polarcheck.vectors import Array

__all__ = ["Grid", "Pair", "Schema", "SparseTable", "Table", "WarningEntry", "cells"]

Pair = Annotated[list[float], Field(min_length=2, max_length=2)]
Grid = list[list[float | None]]


class Table(BaseModel):
    """A JSON object. Keys that it does not know are passed over, so that newer files can be read."""

    model_config = ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False, from_attributes=True)

    @classmethod
    def like(cls, thing: object) -> Self:
        """Return the table whose keys are attributes of the same name.

        Parameters
        ----------
        thing : object
            With all these attributes.

        Raises
        ------
        ValueError
            An attribute is missing, of another kind, or no finite number.
        """
        return cls.model_validate(thing)

    def to_dict(self) -> dict[str, Any]:
        """Return what `json` can write: dicts, lists, text, finite numbers, True, False and None."""
        return self.model_dump(mode="json", by_alias=True)

    def to_json(self) -> str:
        """Return readable JSON, ASCII throughout."""
        return json.dumps(self.to_dict(), indent=1, ensure_ascii=True, allow_nan=False)


class Schema(Table):
    """The JSON object of a whole result; its key ``schema`` tells kind and version."""

    schema_: str = Field(alias="schema", description="Kind and version of this object.")


class SparseTable(Table):
    """A JSON object with keys that are left out, not null, where nobody asked for them."""

    only_if_known: ClassVar[frozenset[str]] = frozenset()

    @model_serializer(mode="wrap")
    def _known(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        content: dict[str, Any] = handler(self)
        return {k: v for k, v in content.items() if v is not None or k not in self.only_if_known}


class WarningEntry(Table):
    """Something doubtful that the reader must know."""

    code: str = Field(description="Short stable name, lower case with hyphens, for scripts.")
    text: str = Field(description="What it is, what it costs, what to do.")


def cells(values: Array) -> Grid:
    """Return rows of numbers with null where there is no finite one.

    Parameters
    ----------
    values : ndarray, shape (m, n)

    Returns
    -------
    list of list of float or None
    """
    return [[float(value) if np.isfinite(value) else None for value in row] for row in values]
