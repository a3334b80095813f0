"""Frames are solved side by side, and not all at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from polarcheck.solving import Solver, State, solve_frames
from polarcheck.solving.engine import Match, Task
from tests.solvers import write_frame


class Blind:
    """A solver that recognises nothing."""

    name = "a solver"

    def match(self, task: Task, children: object) -> Match | None:
        return None

    def missing_sizes(self, *_: object) -> None:
        return None


@pytest.mark.parametrize(("cores", "at_once"), [(1, 2), (4, 5), (64, 8)])
def test_a_machine_of_many_cores_reads_eight_frames_at_once_at_most(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cores: int, at_once: int
) -> None:
    """A process of each solver keeps its index in the memory, some 100 MB: eight of them fit into 2 GB with the images
    (common practice, no source).
    """
    given = []

    class Workers(ThreadPoolExecutor):
        def __init__(self, most: int) -> None:
            given.append(most)
            super().__init__(1)

    monkeypatch.setattr("polarcheck.solving.folder.ThreadPoolExecutor", Workers)
    monkeypatch.setattr("polarcheck.solving.folder.os.cpu_count", lambda: cores)
    for number in range(10):
        write_frame(tmp_path / f"f{number}.fits")
    engine: Any = Blind()
    solved = solve_frames([tmp_path], Solver(engine=engine, refits=False))
    assert given == [at_once]
    assert {frame.state for frame in solved.frames} == {State.UNSOLVED}
