"""The rooms of the house and who may enter which: one order, read from the code itself."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import polarcheck

ROOMS = (
    "errors",
    "printable",
    "presenting",
    "constants",
    "vectors",
    "schema",
    "site",
    "times",
    "given",
    "plain_file",
    "writing",
    "quiet",
    "sky",
    "frames",
    "stars",
    "axis",
    "alignment",
    "measurement",
    "rig",
    "knobs",
    "followup",
    "outlook",
    "planning",
    "solving",
    "simulate",
    "night",
    "digest",
    "watch",
    "page",
    "report",
    "cli",
)
"""A room imports only from rooms before it; a room is a package, or a module on the ground floor."""

ASTRONOMY = {"astropy", "erfa", "astropy_iers_data"}
ASTRONOMY_ROOMS = {"site", "times", "frames", "stars", "sky", "simulate"}
CONTAINERS = {"presenting.py", "report/presenter.py", "report/tables.py"}
"""Give astropy's tables, units and times to notebooks; ask it nothing of the sky."""
GEOMETRY = {"vectors", "axis"}
GROUND = {"errors", "constants"}
OUTSIDE_WORLD = {"pathlib", "os", "io", "time", "datetime", "logging", "subprocess", "urllib", "socket"}
NETWORK = {"socket", "ssl", "http", "urllib", "urllib3", "requests", "httpx", "ftplib", "asyncio"}
HEAVY = {"matplotlib", "photutils", "scipy.stats", "skyfield", "ephem", "gaiacatalog", "PIL", "rawpy"}

ROOT = Path(polarcheck.__file__).parent
FILES = {path.relative_to(ROOT).as_posix(): path for path in sorted(ROOT.rglob("*.py"))}
MODULES = {name: path for name, path in FILES.items() if name != "__init__.py"}


def room_of(name: str) -> str:
    """`frames/cards.py` belongs to the room `frames`; `site.py` is `site`."""
    return name.split("/")[0].removesuffix(".py")


def is_geometry(name: str) -> bool:
    """Whether a file knows nothing but numbers: all of `axis`, and what moves a camera."""
    return room_of(name) in GEOMETRY or name == "sky/camera_motion.py"


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


def late_imports(path: Path) -> list[str]:
    """Imports that stand inside functions."""
    functions = (ast.FunctionDef, ast.AsyncFunctionDef)
    inside = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, functions)]
    found = {n for f in inside for n in ast.walk(f) if isinstance(n, (ast.Import, ast.ImportFrom))}
    return [ast.unparse(node) for node in found]


def test_imports_stand_at_the_top() -> None:
    """Late ones are heavy libraries that most runs do without; the doors load lazily by themselves."""
    late = {name: late_imports(path) for name, path in FILES.items()}
    assert sum(map(len, late.values())) < 40, {name: found for name, found in late.items() if found}


def test_late_imports_would_be_counted() -> None:
    path = ROOT / "cli" / "__init__.py"
    assert late_imports(path) == ["from polarcheck.cli.app import app"]


def test_the_order_lists_what_there_is_and_nothing_else() -> None:
    assert set(ROOMS) == {room_of(name) for name in MODULES}


@pytest.mark.parametrize("name", MODULES)
def test_module_imports_only_from_rooms_before_its_own(name: str) -> None:
    room = room_of(name)
    allowed = {*ROOMS[: ROOMS.index(room)], room}
    assert rooms_entered(MODULES[name]) <= allowed


@pytest.mark.parametrize("name", MODULES)
def test_other_rooms_are_entered_by_their_door(name: str) -> None:
    """What others may use stands in a room's `__init__`; nobody reaches past it into a module."""
    past = [
        used
        for used in imported(MODULES[name])
        if used.startswith("polarcheck.") and used.count(".") > 1 and used.split(".")[1] != room_of(name)
    ]
    assert past == []


@pytest.mark.parametrize("room", [room for room in ROOMS if (ROOT / room).is_dir()])
def test_no_door_offers_a_name_that_one_of_its_modules_bears(room: str) -> None:
    """The name would mean the function or the module, by what was imported first."""
    offered = set(importlib.import_module(f"polarcheck.{room}").__all__) if room != "cli" else set()
    assert not offered & {path.stem for path in (ROOT / room).iterdir()}


@pytest.mark.parametrize("room", [room for room in ROOMS if (ROOT / room).is_dir()])
def test_no_circle_inside_a_room(room: str) -> None:
    modules = {
        "polarcheck." + name.removesuffix(".py").removesuffix("/__init__").replace("/", "."): path
        for name, path in MODULES.items()
        if room_of(name) == room
    }
    graph = {
        name: {used for used in imported(path) if used in modules and used != name}
        for name, path in modules.items()
    }
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"circle: {' -> '.join(error.args[1])}")


@pytest.mark.parametrize("name", MODULES)
def test_only_the_astronomy_rooms_see_astropy_and_erfa(name: str) -> None:
    seen = libraries(MODULES[name]) & ASTRONOMY
    assert room_of(name) in ASTRONOMY_ROOMS or name in CONTAINERS or not seen


@pytest.mark.parametrize("name", [name for name in MODULES if is_geometry(name)])
def test_geometry_sees_numpy_and_scipy_and_nothing_of_the_world(name: str) -> None:
    libraries_seen = libraries(MODULES[name])
    assert libraries_seen <= {"numpy", "scipy", "lazy_loader"} | set(sys.stdlib_module_names)
    assert not libraries_seen & OUTSIDE_WORLD
    assert rooms_entered(MODULES[name]) <= GEOMETRY | GROUND


CALLING_OUT = {
    "connect",
    "connect_ex",
    "sock_connect",
    "create_connection",
    "sendto",
    "sock_sendto",
    "getaddrinfo",
}
CALLING_OUT |= {
    "gethostbyname",
    "gethostbyaddr",
    "getfqdn",
    "create_datagram_endpoint",
    "open_unix_connection",
}


def calls_out(tree: ast.AST) -> list[str]:
    """Calls that reach for another machine; a stream around a connection that came in (``sock=``) does not."""
    called = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    names = [(ast.unparse(node.func).rpartition(".")[2], node) for node in called]
    found = [name for name, _ in names if name in CALLING_OUT]
    streams = [node for name, node in names if name == "open_connection"]
    return found + ["open_connection" for node in streams if node.args or node.keywords[0].arg != "sock"]


@pytest.mark.parametrize("name", FILES)
def test_no_module_opens_the_network(name: str) -> None:
    """But for `page`, which listens where the user asks for a page; it has no client of anything, and calls nobody."""
    listening = {"socket", "asyncio"} if room_of(name) == "page" else set()
    assert not libraries(FILES[name]) & NETWORK - listening
    if listening:
        assert calls_out(ast.parse(FILES[name].read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "source",
    ["s.connect(a)", "asyncio.open_connection('h', 1)", "socket.getaddrinfo('h', 1)", "s.sendto(b, a)"],
)
def test_calling_out_would_be_seen(source: str) -> None:
    assert calls_out(ast.parse(source)) != []


@pytest.mark.parametrize("name", FILES)
def test_only_solving_runs_other_programs(name: str) -> None:
    """A plate solver on this machine, with a list of stars; nothing else is anybody else's to do."""
    assert room_of(name) == "solving" or "subprocess" not in libraries(FILES[name])


OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]+")
OTHERS_OPTIONS = {"solving/field_engine.py"}
"""Run another program, whose options they name."""


@pytest.mark.parametrize(
    "name",
    [name for name in FILES if room_of(name) not in ("report", "cli") and name not in OTHERS_OPTIONS],
)
def test_only_the_command_line_names_its_options(name: str) -> None:
    """Errors and notices name parameters of the library; `cli/naming.py` says which options these are."""
    tree = ast.parse(FILES[name].read_text(encoding="utf-8"))
    texts = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
    assert [text for text in texts if OPTION.search(text)] == []


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


@pytest.mark.parametrize("room", ROOMS)
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
