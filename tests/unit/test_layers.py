"""The rooms of the package and who may enter which: one order, read from the code itself."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import polarcheck

ROOMS = (
    "errors",
    "printable",
    "constants",
    "vectors",
    "camera_motion",
    "site",
    "times",
    "frames",
    "catalogue",
    "stars",
    "frame_stars",
    "steady",
    "earth",
    "sky",
    "track",
    "attitudes",
    "least_squares",
    "consensus",
    "noise",
    "axis",
    "camera_axis",
    "alignment",
    "rig_finding",
    "rig",
    "mechanics",
    "rig_summary",
    "clamps",
    "play",
    "response",
    "moves",
    "worth",
    "correction",
    "mark",
    "knobs",
    "rig_writing",
    "drift",
    "optics",
    "scene",
    "exposure",
    "star_look",
    "exposure_list",
    "aim",
    "skymap",
    "timeline",
    "planning",
    "plausibility",
    "sample",
    "drift_check",
    "verdicts",
    "measurement",
    "saved",
    "later_frames",
    "follow",
    "source",
    "last_frame",
    "night",
    "simulate",
    "report",
    "cli",
)
"""A room imports only from rooms before it; a room is a module or a package of modules."""

ASTRONOMY = {"astropy", "erfa", "astropy_iers_data"}
ASTRONOMY_ROOMS = {"site", "times", "frames", "stars", "earth", "sky", "simulate"}
GEOMETRY_ROOMS = {
    "vectors",
    "camera_motion",
    "attitudes",
    "least_squares",
    "consensus",
    "noise",
    "axis",
    "camera_axis",
}
GROUND_ROOMS = {"errors", "constants"}
OUTSIDE_WORLD = {"pathlib", "os", "io", "time", "datetime", "logging", "subprocess", "urllib", "socket"}
NETWORK = {"socket", "ssl", "http", "urllib", "urllib3", "requests", "httpx", "ftplib", "asyncio"}
HEAVY = {"matplotlib", "photutils", "scipy.stats", "skyfield", "ephem", "gaiacatalog"}

ROOT = Path(polarcheck.__file__).parent
FILES = {path.relative_to(ROOT).as_posix(): path for path in sorted(ROOT.rglob("*.py"))}
MODULES = {name: path for name, path in FILES.items() if name != "__init__.py"}


def room_of(name: str) -> str:
    """`frames/cards.py` and `frames` belong to the room `frames`; `sky.py` is `sky`."""
    return name.split("/")[0].removesuffix(".py")


PRESENT = [room for room in ROOMS if room in {room_of(name) for name in MODULES}]


def imported(path: Path) -> Iterator[str]:
    """Dotted names that a file imports anywhere in it, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: write imports in full"
            if node.module == "polarcheck":
                yield from (f"polarcheck.{alias.name}" for alias in node.names)
            else:
                yield str(node.module)


def rooms_entered(path: Path) -> set[str]:
    """Rooms of the package that a file imports; its version belongs to none."""
    names = (name.split(".") for name in imported(path))
    return {parts[1] for parts in names if parts[0] == "polarcheck" and parts[1:] != ["__version__"]}


def libraries(path: Path) -> set[str]:
    """Top-level names of everything else that a file imports."""
    return {name.split(".")[0] for name in imported(path)} - {"polarcheck"}


def test_every_file_has_its_place_in_the_order() -> None:
    assert {room_of(name) for name in MODULES} <= set(ROOMS)
    assert {"errors", "vectors", "earth", "sky"} <= set(PRESENT)


@pytest.mark.parametrize("name", MODULES)
def test_module_imports_only_from_rooms_before_its_own(name: str) -> None:
    room = room_of(name)
    allowed = {*ROOMS[: ROOMS.index(room)], room}
    assert rooms_entered(MODULES[name]) <= allowed


@pytest.mark.parametrize("name", MODULES)
def test_only_the_astronomy_rooms_see_astropy_and_erfa(name: str) -> None:
    seen = libraries(MODULES[name]) & ASTRONOMY
    assert room_of(name) in ASTRONOMY_ROOMS or not seen


@pytest.mark.parametrize("name", [name for name in MODULES if room_of(name) in GEOMETRY_ROOMS])
def test_geometry_sees_numpy_and_scipy_and_nothing_of_the_world(name: str) -> None:
    libraries_seen = libraries(MODULES[name])
    assert libraries_seen <= {"numpy", "scipy"} | set(sys.stdlib_module_names)
    assert not libraries_seen & OUTSIDE_WORLD
    assert rooms_entered(MODULES[name]) <= GEOMETRY_ROOMS | GROUND_ROOMS


@pytest.mark.parametrize("name", FILES)
def test_no_module_opens_the_network(name: str) -> None:
    assert not libraries(FILES[name]) & NETWORK


TALKING = {"print", "input", "exit", "quit", "sys.exit", "os._exit", "SystemExit"}
TALKING |= {"sys.stdout.write", "sys.stderr.write", "typer.echo", "typer.Exit"}


def talking(tree: ast.AST) -> list[str]:
    """Calls that print or ask, and ways to leave."""
    called = [ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)]
    raised = [ast.unparse(node.exc) for node in ast.walk(tree) if isinstance(node, ast.Raise) and node.exc]
    return [name for name in called + raised if name in TALKING]


@pytest.mark.parametrize("name", [name for name in FILES if room_of(name) != "cli"])
def test_only_the_command_line_prints_or_exits(name: str) -> None:
    assert talking(ast.parse(FILES[name].read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "source", ["print(1)", "import sys; sys.exit(2)", "raise SystemExit", "raise SystemExit(1)", "input()"]
)
def test_printing_and_leaving_would_be_seen(source: str) -> None:
    assert talking(ast.parse(source)) != []


@pytest.mark.parametrize("room", PRESENT)
def test_room_imports_alone_and_lightly(room: str) -> None:
    """In a fresh interpreter: no import loop, no warning, nothing heavy."""
    code = f"import sys, polarcheck.{room}; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        cwd=ROOT.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    loaded = set(done.stdout.split())
    assert f"polarcheck.{room}" in loaded
    assert not loaded & HEAVY
