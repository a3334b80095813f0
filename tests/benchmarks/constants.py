"""Which numbers no test notices: each constant is doubled and halved, and the tests that reach it run.

    python -m tests.benchmarks.constants --learn            (once: which test reaches which line; needs pytest-cov)
    python -m tests.benchmarks.constants measurement knobs/play
    python -m tests.benchmarks.constants outlook --only _DRAWS

It works in a temporary copy. For each constant it takes the tests that run a line which uses it, those of its own
module and the quickest first, up to as many seconds of them as `--most` says. A constant that nothing notices
decides nothing, or lacks a test with a reason of its own.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).parents[2]
PARTS = ("polarcheck", "tests", "sample_frames", "docs", "README.md", "pyproject.toml")
FACTORS = (2.0, 0.5)
MOST_OF_A_TABLE = 12  # numbers; longer ones are data, which reference tests hold
LONGEST_S = 600
LEARNED = Path(tempfile.gettempdir()) / "polarcheck-tests-of-lines"
"""Beside it, with the ending .txt, how long each test takes, and in a folder the source whose lines these are."""
SOURCE = LEARNED.with_name(f"{LEARNED.name}-source")

WARM = (
    "numpy",
    "erfa",
    "pytest",
    "jsonschema",
    "pydantic",
    "typer",
    "rich.console",
    "PIL.Image",
    "scipy.interpolate",
    "scipy.linalg",
    "scipy.ndimage",
    "scipy.optimize",
    "scipy.signal",
    "scipy.spatial",
    "scipy.special",
    "scipy.stats",
    "astropy.coordinates",
    "astropy.io.fits",
    "astropy.table",
    "astropy.time",
    "astropy.units",
    "astropy.utils.iers",
    "astropy.wcs",
    "matplotlib.figure",
    "matplotlib.backends.backend_agg",
    "photutils.detection",
    "photutils.background",
)
TOLD = {0: "NO TEST NOTICES", 2: "noticed: the tests cannot even begin"}
SAID = "said.txt"
LEARN = (
    *("--cov=polarcheck", "--cov-context=test", "--cov-report=", "--durations=0", "-vv", "-q"),
    *(
        "-m",
        "not solver and not browser",
        "tests/unit",
        "tests/property",
        "tests/reference",
        "tests/end_to_end",
    ),
)


@dataclass(frozen=True, slots=True)
class NumberPlace:
    """A number of a module: its name, its value's place, and of a default the function."""

    path: Path
    name: str
    value: str
    start: tuple[int, int]
    end: tuple[int, int]
    label: str = ""
    function: str = ""

    @property
    def is_default(self) -> bool:
        """Whether it belongs to an argument or to a field, and no name leads to where it is used."""
        return not self.name.lstrip("_").isupper()

    def changed(self, source: str, factor: float) -> str:
        """Return the module's text with the constant multiplied; whole numbers stay whole, above zero."""
        lines = source.splitlines(keepends=True)
        (first, left), (last, right) = self.start, self.end
        head = "".join(lines[: first - 1]) + lines[first - 1].encode()[:left].decode()
        tail = lines[last - 1].encode()[right:].decode() + "".join(lines[last:])
        change = f"max(1, round(x * {factor})) if isinstance(x, int) else x * {factor}"
        return f"{head}(next({change} for x in ({self.value},))){tail}"


def numbers_of(path: Path) -> Iterator[NumberPlace]:
    """Numbers of a module: of its constants, of tuples and tables each, and defaults of its functions and classes."""
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    for target, value in _assignments(tree.body):
        if isinstance(target, ast.Name) and target.id.lstrip("_").isupper():
            numbers = list(_numbers_in(value))
            for i, number in enumerate(numbers if len(numbers) <= MOST_OF_A_TABLE else []):
                label = target.id if len(numbers) == 1 else f"{target.id}[{i}]"
                yield _place(path, source, target.id, number, label)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            named = [*node.args.posonlyargs, *node.args.args]
            pairs = [*zip(named[::-1], node.args.defaults[::-1], strict=False)]
            pairs += [(a, d) for a, d in zip(node.args.kwonlyargs, node.args.kw_defaults, strict=True) if d]
            for argument, default in pairs:
                if _is_number(default):
                    label = f"{node.name}({argument.arg})"
                    yield _place(path, source, argument.arg, default, label, node.name)
        elif isinstance(node, ast.ClassDef):
            for field in node.body:
                if (
                    isinstance(field, ast.AnnAssign)
                    and isinstance(field.target, ast.Name)
                    and field.value
                    and _is_number(field.value)
                ):
                    yield _place(path, source, field.target.id, field.value, f"{node.name}.{field.target.id}")


def _place(
    path: Path, source: str, name: str, value: ast.expr, label: str, function: str = ""
) -> NumberPlace:
    text = str(ast.get_source_segment(source, value))
    end = (int(value.end_lineno or 0), int(value.end_col_offset or 0))
    return NumberPlace(path, name, text, (value.lineno, value.col_offset), end, label, function)


def _numbers_in(node: ast.expr) -> Iterator[ast.expr]:
    """The largest parts of an expression that are one number each."""
    if _is_number(node):
        yield node
        return
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.expr):
            yield from _numbers_in(child)


def _assignments(nodes: list[ast.stmt]) -> Iterator[tuple[ast.expr, ast.expr]]:
    """Targets and values; those of `A, B = 1, 2` one by one."""
    for node in nodes:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        value = getattr(node, "value", None)
        if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
            yield from zip(target.elts, value.elts, strict=True)
        elif target is not None and value is not None:
            yield target, value


def _is_number(node: ast.expr) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        sides = (node.left, node.right)
        return all(_is_number(side) or isinstance(side, ast.Name) for side in sides) and any(
            map(_is_number, sides)
        )
    return False


def lines_using(name: str, tree: ast.Module) -> set[int]:
    """Lines of a module's functions that use a constant, itself or through another constant made of it."""
    names, lines = {name}, set()
    for node in tree.body:  # in their order: a constant can only be made of earlier ones
        used = {n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}
        if isinstance(node, ast.Assign | ast.AnnAssign) and used & names:
            names |= {
                target.id
                for target, value in _assignments([node])
                if isinstance(target, ast.Name)
                and names & {n.id for n in ast.walk(value) if isinstance(n, ast.Name)}
            }
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            for n in ast.walk(function):
                if isinstance(n, ast.Name) and n.id in names:
                    # a default stands on a line that runs at import: any line of the body tells as well
                    lines |= (
                        {n.lineno}
                        if n.lineno >= function.body[0].lineno
                        else {s.lineno for s in function.body}
                    )
    return lines


def lines_of(function: str, tree: ast.Module) -> set[int]:
    """Lines at which the statements of functions of a name begin."""
    return {
        statement.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name == function
        for statement in node.body
    }


class Learned:
    """Which tests run which lines, and how long they take."""

    def __init__(self, most_s: float) -> None:
        self._most_s = most_s
        self._base = sqlite3.connect(LEARNED)
        said = LEARNED.with_suffix(".txt").read_text(encoding="utf-8")
        self._seconds: dict[str, float] = defaultdict(float)
        for seconds, test in re.findall(r"^ *([\d.]+)s (?:call|setup) +(.+)$", said, re.MULTILINE):
            self._seconds[test] += float(seconds)
        self._of_file: dict[str, set[str]] = defaultdict(set)
        for (context,) in self._base.execute("select context from context"):
            test, _, phase = context.rpartition("|")
            if phase == "run":
                self._of_file[test.partition("::")[0]].add(test)
        self._failed = set(re.findall(r"^(?:FAILED|ERROR) (\S+)", said, re.MULTILINE))

    def tests(self, place: NumberPlace, folder: Path) -> list[str]:
        """Return the tests that reach a constant, those of its own module and the quickest first."""
        reached: set[str] = set()
        own_module = place.path.relative_to(folder)
        for path in sorted((SOURCE / "polarcheck").rglob("*.py")):
            module = path.relative_to(SOURCE)
            source = path.read_text(encoding="utf-8")
            tree = ast.parse(source)
            if place.is_default:
                if module == own_module and place.function:
                    reached |= self._running(module.as_posix(), lines_of(place.function, tree))
            elif module == own_module or re.search(
                rf"import .*\b{place.name}\b|^ +{place.name},", source, re.MULTILINE
            ):
                reached |= self._running(module.as_posix(), lines_using(place.name, tree))
        room = f"tests/unit/{place.path.parent.name}/"
        if (
            not reached
        ):  # what runs in a thread is noted at no test, nor what is newer than the map, or a field's
            reached = {
                test for file, tests in self._of_file.items() if file.startswith(room) for test in tests
            }
        own = f"{room}test_{place.path.stem}.py"
        ranked = sorted(reached, key=lambda test: (own not in test, self._seconds[test], test))
        return list(self._within(ranked))

    def _within(self, ranked: list[str]) -> Iterator[str]:
        left = self._most_s
        for test in ranked:
            left -= self._seconds[test] + 0.02
            if left < 0:
                return
            yield test

    def _running(self, module: str, lines: set[int]) -> set[str]:
        from coverage.numbits import numbits_to_nums

        rows = self._base.execute(
            "select context.context, numbits from line_bits join file on file.id = file_id "
            "join context on context.id = context_id where file.path like ?",
            [f"%/{module}"],
        )
        found: set[str] = set()
        for context, bits in rows:
            if context and lines & set(numbits_to_nums(bits)):
                test, _, phase = context.rpartition("|")
                # what a fixture runs for a whole file is noted at the first test that asks for it
                found |= self._of_file[test.partition("::")[0]] if phase == "setup" else {test}
        return found - self._failed


def outcome(folder: Path, tests: list[str]) -> str:
    """Run tests in a folder; return what came of it."""
    listed = folder / "tests-to-run.txt"
    listed.write_text("\n".join(tests), encoding="utf-8")
    options = ["-x", "-q", "-p", "no:cacheprovider", f"@{listed}"]
    run = _in_a_copy_of_this_process if hasattr(os, "fork") else _in_a_new_process
    code = run(folder, options)
    said = (folder / SAID).read_text(encoding="utf-8", errors="replace")
    gone = set(re.findall(r"^ERROR: .*not found: .*?(tests/.*)$", said, re.MULTILINE))
    left = [test for test in tests if not {test, test.partition("[")[0], test.partition("::")[0]} & gone]
    if code == 4 and len(left) < len(tests):  # some were renamed since
        return outcome(folder, left)
    if code == 1:
        first = re.search(r"^(?:FAILED|ERROR) (\S+)", said, re.MULTILINE)
        return f"noticed by {first[1] if first else 'a test'}"
    return "noticed: the tests do not end" if code is None else TOLD.get(code, f"pytest ended with {code}")


def _in_a_new_process(folder: Path, options: list[str]) -> int | None:
    paths = dict(os.environ, PYTHONPATH=str(folder), PYTHONDONTWRITEBYTECODE="1")
    command = [sys.executable, "-m", "pytest", *options]
    try:
        with (folder / SAID).open("w", encoding="utf-8") as said:
            done = subprocess.run(command, cwd=folder, env=paths, stdout=said, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return None
    return done.returncode


def _in_a_copy_of_this_process(folder: Path, options: list[str]) -> int | None:
    """Run pytest where the libraries are imported already: seconds less for each constant."""
    child = os.fork()
    if child == 0:
        _become_pytest(folder, options)
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _become_pytest(folder: Path, options: list[str]) -> NoReturn:
    code = 70
    try:
        os.setsid()
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        said = os.open(folder / SAID, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        for stream in (1, 2):
            os.dup2(said, stream)
        os.chdir(folder)
        os.environ.update(PYTHONPATH=str(folder), PYTHONDONTWRITEBYTECODE="1")
        sys.dont_write_bytecode = True
        sys.path[:] = [str(folder), *(path for path in sys.path if path not in ("", str(ROOT)))]
        for name in [n for n in sys.modules if n.partition(".")[0] in ("polarcheck", "tests")]:
            del sys.modules[name]
        import pytest

        code = int(pytest.main(options))
    finally:
        os._exit(code)


def warm_up() -> None:
    """Import what most tests import, so that the copies need not."""
    for name in WARM:
        importlib.import_module(name)


def learn() -> None:
    """Run the suite once, and keep which test runs which line."""
    paths = dict(os.environ, COVERAGE_FILE=str(LEARNED))
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *LEARN]
    done = subprocess.run(command, cwd=ROOT, env=paths, capture_output=True, text=True, check=False)
    LEARNED.with_suffix(".txt").write_text(done.stdout, encoding="utf-8")
    shutil.rmtree(SOURCE, ignore_errors=True)
    shutil.copytree(ROOT / "polarcheck", SOURCE / "polarcheck")
    print(done.stdout.strip().splitlines()[-1])


def main() -> None:
    """Change each constant of the rooms or modules named, and print which ones nothing notices."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("modules", nargs="*", help="rooms (measurement) or modules (outlook/timeline)")
    parser.add_argument(
        "--learn", action="store_true", help="run the suite once to see which test reaches what"
    )
    parser.add_argument("--only", nargs="+", help="constants by name")
    parser.add_argument("--most", type=float, default=30.0, help="seconds of tests for each (default: 30)")
    asked = parser.parse_args()
    if asked.learn:
        learn()
    warm_up()
    learned = Learned(asked.most)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in PARTS:
            copy = shutil.copytree if (ROOT / part).is_dir() else shutil.copy
            copy(ROOT / part, folder / part)
        for module in asked.modules:
            for place in _places(folder / "polarcheck" / module):
                if not asked.only or place.name in asked.only or place.label in asked.only:
                    _tell(place, folder, learned.tests(place, folder))


def _places(where: Path) -> list[NumberPlace]:
    files = sorted(where.glob("*.py")) if where.is_dir() else [where.with_suffix(".py")]
    return [place for path in files for place in numbers_of(path)]


def _tell(place: NumberPlace, folder: Path, tests: list[str]) -> None:
    source = place.path.read_text(encoding="utf-8")
    for factor in FACTORS:
        if place.value in ("0", "0.0") or (place.value == "1" and factor < 1):
            continue  # no factor changes nothing, and a whole number has no half above zero
        place.path.write_text(place.changed(source, factor), encoding="utf-8")
        said = outcome(folder, tests) if tests else "NO TEST REACHES IT"
        where = place.path.relative_to(folder / "polarcheck").as_posix()
        print(f"{where} {place.label} x{factor:g} {said} ({len(tests)})", flush=True)
    place.path.write_text(source, encoding="utf-8")


if __name__ == "__main__":
    main()
