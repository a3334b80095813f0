"""A folder kept solved: frames that come in are solved once they are whole, and nothing is left running."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.errors import InputError
from polarcheck.solving import FolderSolver, Solver, State
from tests.solvers import POSIX, StandIn, write_frame


def until(true: Callable[[], bool], seconds: float = 40.0) -> bool:
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.05)
    return true()


@POSIX
def test_frames_that_come_in_are_solved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in, folder, told = StandIn(tmp_path / "stand in", monkeypatch), tmp_path / "frames", []
    folder.mkdir()
    with FolderSolver(folder, Solver(index_folders=(stand_in.index,)), told=told.append):
        write_frame(folder / "a.fits")
        assert until((folder / "a.wcs").exists)
        half = write_frame(tmp_path / "b.fits").read_bytes()
        (folder / "b.fits").write_bytes(half[:9000])
        assert until(lambda: any(f.state is State.UNSOLVED for s in told for f in s.frames))
        (folder / "b.fits").write_bytes(half)
        assert until((folder / "b.wcs").exists)
    assert len([call for call in stand_in.calls() if "--config" in call]) == 2


@POSIX
def test_stopping_ends_a_solver_that_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in = StandIn(tmp_path / "stand in", monkeypatch)
    stand_in.behave("hang")
    write_frame(tmp_path / "frames" / "a.fits")
    begun = time.monotonic()
    with FolderSolver(tmp_path / "frames", Solver(index_folders=(stand_in.index,), limit_s=300)):
        assert until(lambda: len(stand_in.processes()) == 2)
    assert time.monotonic() - begun < 60
    assert stand_in.processes() == []


def test_without_a_solver_it_says_so_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("polarcheck.solving.solver.is_installed", lambda: False)
    with pytest.raises(InputError, match="no plate solver"):
        FolderSolver(tmp_path, Solver())


class Looks:
    """Stands for the event that ends it: three looks pass, and none is waited for."""

    def __init__(self) -> None:
        self.waited_s: list[float] = []

    def wait(self, seconds: float) -> bool:
        self.waited_s.append(seconds)
        return len(self.waited_s) > 3

    def set(self) -> None: ...

    def is_set(self) -> bool:
        return False


def test_a_file_is_given_to_the_solver_soon_after_it_has_come_to_rest(tmp_path: Path) -> None:
    """A camera that writes over a slow line pauses for less than a second (common practice, no source); nobody likes to
    wait for more than three.
    """
    looks: Any = Looks()
    begun: list[float] = []

    class Blind:
        name = "a solver"

        def match(self, *_: object) -> None:
            begun.append(sum(looks.waited_s))

        def missing_sizes(self, *_: object) -> None: ...

    engine: Any = Blind()
    write_frame(tmp_path / "a.fits")
    watching = FolderSolver(tmp_path, Solver(engine=engine))
    watching._over = looks
    watching._run()
    assert 1.2 < begun[0] < 3.0


def test_at_the_end_the_image_that_is_being_read_is_waited_for(tmp_path: Path) -> None:
    """The stars of a frame of 60 Mpx take ten seconds on a small board (common practice, no source)."""
    waits: list[float] = []
    thread: Any = SimpleNamespace(start=lambda: None, join=waits.append)
    engine: Any = SimpleNamespace(name="a solver")
    watching = FolderSolver(tmp_path, Solver(engine=engine))
    watching._thread = thread
    with watching:
        pass
    assert 10.0 <= waits[0] <= 20.0
