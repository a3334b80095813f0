"""A folder kept solved: frames that come in are solved once they are whole, and nothing is left running."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

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
