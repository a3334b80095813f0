"""What all results' JSON is made of, and the JSON Schema files in docs/schemas."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import jsonschema
import numpy as np
import pytest

from polarcheck.schema import SparseTable, Table, cells
from tests.write_schemas import FOLDER, MODELS, json_schema, kind_of, name_of, text


class Small(Table):
    value: float | None
    name: str = "a"


class Sparse(SparseTable):
    only_if_known = frozenset({"asked"})
    asked: float | None = None
    other: float | None = None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, np.float64("nan")])
def test_number_that_is_not_finite_gets_in_nowhere(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        Small(value=value)
    with pytest.raises(ValueError, match="finite"):
        Small.model_validate(json.loads('{"value": NaN}'))


def test_unknown_is_null_and_what_nobody_asked_for_is_left_out() -> None:
    assert json.loads(Small(value=None).to_json()) == {"value": None, "name": "a"}
    assert Sparse().to_dict() == {"other": None}
    assert Sparse(asked=0.0).to_dict() == {"asked": 0.0, "other": None}


def test_keys_of_a_newer_version_are_passed_over() -> None:
    assert Small.model_validate({"value": 1.0, "later": [1, 2]}) == Small(value=1.0)


def test_text_is_ascii() -> None:
    assert Small(value=1.0, name="Böhm°").to_json().isascii()


def test_cells_have_null_where_there_is_no_number() -> None:
    assert cells(np.array([[1.0, np.nan], [np.inf, -2.0]])) == [[1.0, None], [None, -2.0]]


@pytest.mark.parametrize("model", MODELS, ids=name_of)
def test_file_in_docs_says_what_the_model_does(model: type) -> None:
    path = FOLDER / f"{name_of(model)}.json"
    assert path.read_text(encoding="utf-8") == text(json_schema(model)), "run python -m tests.write_schemas"


def test_no_file_in_docs_without_a_model() -> None:
    assert {path.stem for path in FOLDER.iterdir()} == {name_of(model) for model in MODELS}


def test_page_on_json_names_every_schema_and_links_its_file() -> None:
    page = (FOLDER.parent / "json.md").read_text(encoding="utf-8")
    for model in MODELS:
        name = name_of(model)
        assert f"`{kind_of(model)}`" in page
        assert f"[{name}.json](schemas/{name}.json)" in page


@pytest.mark.parametrize("model", MODELS, ids=name_of)
def test_file_is_a_json_schema(model: type) -> None:
    """Against the meta-schema of draft 2020-12, as the jsonschema package brings it."""
    jsonschema.Draft202012Validator.check_schema(json_schema(model))


UNITS = {
    "deg": "[deg",
    "arcmin": "[arcmin",
    "arcsec": "[arcsec",
    "px": "[px",
    "s": "[s",
    "mm": "[mm",
    "um": "[um",
    "hpa": "[hPa",
    "m": "[m",
    "c": "[deg C",
    "turns": "[turn",
    "utc": "UTC",
}


def described(content: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Name and description of every key that holds a number or text, wherever it stands."""
    for table in [content, *content.get("$defs", {}).values()]:
        for name, key in table.get("properties", {}).items():
            kinds = [key, *key.get("anyOf", [])]
            numeric = any(kind.get("type") in ("number", "integer", "array") for kind in kinds)
            if numeric and "$ref" not in str(key):
                yield name, key.get("description", "")


@pytest.mark.parametrize("model", MODELS, ids=name_of)
def test_every_number_is_described_with_the_unit_that_its_name_ends_in(model: type) -> None:
    found = list(described(json_schema(model)))
    assert found or name_of(model) == "event-moved"
    for name, description in found:
        assert description, name
        last = name.removesuffix("_95").split("_per_")[0].rsplit("_", 1)[-1]
        if "_" in name and last in UNITS:
            assert UNITS[last] in description, f"{name}: {description!r} does not name {UNITS[last]}"
