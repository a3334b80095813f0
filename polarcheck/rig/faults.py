"""What is wrong with a rig file, in words: the line, the key, what it must be, and the nearest right one."""

from __future__ import annotations

import difflib
import re

from pydantic import BaseModel, ValidationError

from polarcheck.printable import printable
from polarcheck.rig.tables import RigTables

__all__ = ["first_fault"]

_SAID = {
    "float_type": "must be a number",
    "bool_type": "must be true or false",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "literal_error": "must be {expected}",
    "list_type": "must be a list of two numbers",
    "too_short": "must be a list of two numbers",
    "too_long": "must be a list of two numbers",
    "model_type": "is a table with keys of its own",
    "missing": "is missing",
}
_KEY_FIRST = re.compile(r"([a-z_.]+) (?:= |must )")  # how this file's own validators name a key


def first_fault(error: ValidationError, text: str) -> str:
    """Say what is wrong with a rig file; an unknown key first, since it may be why another is missing.

    Parameters
    ----------
    error : ValidationError
    text : str
        The file, to name the line.

    Returns
    -------
    str
        One fault, with its line and the nearest right key.
    """
    faults = error.errors(include_url=False)
    fault = next((fault for fault in faults if fault["type"] == "extra_forbidden"), faults[0])
    where = tuple(part for part in fault["loc"] if isinstance(part, str))
    name = ".".join(printable(part) for part in where)
    if fault["type"] == "extra_forbidden":
        return f"{_place(where, text)}unknown key {name}{_hint(where)}"
    if fault["type"] == "value_error":
        message = fault["msg"].removeprefix("Value error, ")
        if key := _KEY_FIRST.match(message):
            return f"{_place((*where, *key[1].split('.')), text)}{name}.{message}"
        return f"{_place(where, text)}{name}: {message}"
    message = _SAID.get(fault["type"], fault["msg"]).format(**fault.get("ctx", {}))
    given = f", not {_as_toml(fault['input'])}" if fault["type"] != "missing" else ""
    return f"{_place(where, text)}{name or 'the file'} {message}{given}"


def _hint(where: tuple[str, ...]) -> str:
    """Return the nearest key of the same table, else where that key belongs, else what the table knows."""
    table, key = where[:-1], where[-1]
    known = _keys_of(table)
    tables = (
        ("optics",),
        ("camera",),
        ("guiding",),
        ("mount",),
        ("mount", "azimuth"),
        ("mount", "limits"),
        ("site",),
        ("solver",),
    )
    for other in tables:
        if key in _keys_of(other):
            return f"; did you mean {key} in [{'.'.join(other)}]?"
    if near := difflib.get_close_matches(key, known, n=1, cutoff=0.4):
        return f"; did you mean {near[0]}?"
    for other in tables:
        if near := difflib.get_close_matches(key, _keys_of(other), n=1, cutoff=0.7):
            return f"; did you mean {near[0]} in [{'.'.join(other)}]?"
    return f"; known here: {', '.join(known)}"


def _as_toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return printable(repr(value) if isinstance(value, (str, list)) else value, 40)


def _place(where: tuple[str, ...], text: str) -> str:
    line = _line_of(where, text)
    return f"line {line}: " if line else ""


def _line_of(where: tuple[str, ...], text: str) -> int | None:
    """Line of a key: first below its table's header, else wherever its last part first stands."""
    if not where:
        return None
    table = r"\s*\.\s*".join(re.escape(part) for part in where[:-1])
    last = re.escape(where[-1])
    header = re.compile(rf"\s*\[\s*{table}\s*\]")
    key = re.compile(rf"\s*[\"']?{last}[\"']?\s*[=.\]]")
    whole = re.compile(rf"\s*\[\[?\s*{r'[ .]*'.join(re.escape(part) for part in where)}\s*\]")
    inline = re.compile(rf".*(?<![\w#]){last}\s*=")
    lines = text.splitlines()
    headers = [i for i, line in enumerate(lines) if header.match(line)]
    start: int = headers[0] if headers else -1
    i: int
    for i in [*range(start + 1, len(lines)), *range(start + 1)]:
        if key.match(lines[i]) or whole.match(lines[i]):
            return i + 1
    if start >= 0:
        return start + 1
    return next((i + 1 for i, line in enumerate(lines) if inline.match(line)), None)


def _keys_of(table: tuple[str, ...]) -> list[str]:
    model: type[BaseModel] = RigTables
    for part in table:
        field = model.model_fields.get(part)
        annotation = field.annotation if field else None
        kinds = [annotation, *getattr(annotation, "__args__", ())]
        tables = [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)]
        if not tables:
            return []
        model = tables[0]
    return list(model.model_fields)
