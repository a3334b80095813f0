"""Which numbers no test notices: each constant of a room is doubled and halved, and the room's unit tests run.

    python -m tests.benchmarks.constants measurement
    python -m tests.benchmarks.constants outlook/timeline --tests tests/unit/outlook tests/reference/test_skymap.py

It works in a temporary copy. A constant that nothing notices decides nothing, or lacks a test with a reason of its own.
"""

from __future__ import annotations

import argparse
import ast
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("polarcheck", "tests", "sample_frames", "docs", "README.md", "pyproject.toml")
FACTORS = (2.0, 0.5)
LONGEST_S = 600
TOLD = {0: "no test notices", 1: "noticed", 2: "noticed: the tests cannot even begin"}


@dataclass(frozen=True, slots=True)
class NumberPlace:
    """A constant of a module: its name and the lines of its value."""

    module: str
    name: str
    value: str
    start: tuple[int, int]
    end: tuple[int, int]

    def changed(self, source: str, factor: float) -> str:
        """Return the module's text with the constant multiplied; whole numbers stay whole, above zero."""
        lines = source.splitlines(keepends=True)
        (first, left), (last, right) = self.start, self.end
        head = "".join(lines[: first - 1]) + lines[first - 1].encode()[:left].decode()
        tail = lines[last - 1].encode()[right:].decode() + "".join(lines[last:])
        change = f"max(1, round(x * {factor})) if isinstance(x, int) else x * {factor}"
        is_tuple = isinstance(ast.parse(self.value, mode="eval").body, ast.Tuple)
        new = (
            f"tuple({change} for x in {self.value})"
            if is_tuple
            else f"next({change} for x in ({self.value},))"
        )
        return f"{head}({new}){tail}"


def numbers_of(path: Path) -> Iterator[NumberPlace]:
    """Constants of a module that are made of numbers only."""
    source = path.read_text(encoding="utf-8")
    for node in ast.parse(source).body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        value = getattr(node, "value", None)
        if isinstance(target, ast.Name) and target.id.lstrip("_").isupper() and value and _is_number(value):
            text = str(ast.get_source_segment(source, value))
            end = (int(value.end_lineno or 0), int(value.end_col_offset or 0))
            yield NumberPlace(str(path), target.id, text, (value.lineno, value.col_offset), end)


def _is_number(node: ast.expr) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.Tuple):
        return bool(node.elts) and all(_is_number(element) for element in node.elts)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        sides = (node.left, node.right)
        return all(_is_number(side) or isinstance(side, ast.Name) for side in sides) and any(
            map(_is_number, sides)
        )
    return False


def outcome(folder: Path, tests: list[str]) -> str:
    """Run tests in a folder; return what came of it."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    paths = dict(os.environ, PYTHONPATH=str(folder), PYTHONDONTWRITEBYTECODE="1")
    try:
        done = subprocess.run(
            command, cwd=folder, env=paths, capture_output=True, timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        return "noticed: the tests do not end"
    return TOLD.get(done.returncode, f"pytest ended with {done.returncode}")


def main() -> None:
    """Change each constant of the rooms or modules named, and print which ones nothing notices."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("modules", nargs="+", help="rooms (measurement) or modules (outlook/timeline)")
    parser.add_argument("--tests", nargs="+", help="instead of the unit tests of the same room or module")
    parser.add_argument("--only", nargs="+", help="constants by name")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in PARTS:
            copy = shutil.copytree if (ROOT / part).is_dir() else shutil.copy
            copy(ROOT / part, folder / part)
        for module in asked.modules:
            tests = asked.tests or [f"tests/unit/{module.partition('/')[0]}"]
            before = outcome(folder, tests)
            if before != TOLD[0]:
                sys.exit(f"{module}: {', '.join(tests)} must pass before anything is changed: {before}")
            for place in _places(folder / "polarcheck" / module):
                if not asked.only or place.name in asked.only:
                    _tell(place, folder, [*_mirror(place, folder), *tests])


def _mirror(place: NumberPlace, folder: Path) -> list[str]:
    """Return the unit tests of the constant's own module: they notice most, so they run before the room's."""
    module = Path(place.module).relative_to(folder / "polarcheck").with_suffix("")
    mirror = f"tests/unit/{module.parent.as_posix()}/test_{module.name}.py"
    return [mirror] if (folder / mirror).is_file() else []


def _places(where: Path) -> list[NumberPlace]:
    files = sorted(where.glob("*.py")) if where.is_dir() else [where.with_suffix(".py")]
    return [place for path in files for place in numbers_of(path)]


def _tell(place: NumberPlace, folder: Path, tests: list[str]) -> None:
    path = Path(place.module)
    source = path.read_text(encoding="utf-8")
    for factor in FACTORS:
        path.write_text(place.changed(source, factor), encoding="utf-8")
        said = outcome(folder, tests)
        print(f"{path.relative_to(folder).as_posix():<40} {place.name:<24} x {factor:<4g} {said}", flush=True)
    path.write_text(source, encoding="utf-8")


if __name__ == "__main__":
    main()
