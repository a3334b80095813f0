"""The shape of the code: short functions, few parameters, imports at the top of files."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

import polarcheck

ROOT = Path(polarcheck.__file__).parent
TREES = {
    path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
    for path in sorted(ROOT.rglob("*.py"))
}
Function = ast.FunctionDef | ast.AsyncFunctionDef
MOST_LATE_IMPORTS, MOST_PARAMETERS, LONGEST_BODY, NINE_IN_TEN = 40, 7, 45, 19


def functions() -> list[tuple[str, Function]]:
    return [
        (name, node)
        for name, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def body_lines(node: Function) -> int:
    """Lines of a function's body, its docstring not counted."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def parameters(node: Function) -> list[str]:
    a = node.args
    return [arg.arg for arg in (*a.posonlyargs, *a.args, *a.kwonlyargs) if arg.arg not in ("self", "cls")]


def late_imports(tree: ast.AST) -> list[str]:
    inside = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    found = {n for f in inside for n in ast.walk(f) if isinstance(n, ast.Import | ast.ImportFrom)}
    return [ast.unparse(node) for node in found]


def test_bodies_are_short() -> None:
    lengths = {f"{name}: {node.name}": body_lines(node) for name, node in functions()}
    assert {name: n for name, n in lengths.items() if n > LONGEST_BODY} == {}
    assert np.percentile(list(lengths.values()), 90) <= NINE_IN_TEN


@pytest.mark.parametrize("room", sorted({name.split("/")[0] for name in TREES} - {"cli"}))
def test_what_travels_together_is_carried_together(room: str) -> None:
    """Commands have one parameter an option; nothing else takes more than seven."""
    many = {
        f"{name}: {node.name}": len(parameters(node))
        for name, node in functions()
        if name.split("/")[0] == room and len(parameters(node)) > MOST_PARAMETERS
    }
    assert many == {}


def test_imports_stand_at_the_top() -> None:
    late = [f"{name}: {line}" for name, tree in TREES.items() for line in late_imports(tree)]
    assert len(late) < MOST_LATE_IMPORTS, "\n".join(late)


@pytest.mark.parametrize(
    "source", ["def f():\n    import os\n", "def f():\n    if True:\n        from os import path\n"]
)
def test_a_late_import_would_be_seen(source: str) -> None:
    assert len(late_imports(ast.parse(source))) == 1
