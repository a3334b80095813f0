"""What a solver wrote is read within bounds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.solving.children import Ended
from polarcheck.solving.engine import EngineError, Task
from polarcheck.solving.field_engine import read_match
from polarcheck.solving.wanted import Hints
from polarcheck.stars import StarList
from tests.fits_files import write_solution
from tests.solvers import SIZE, SOLUTION


def task(folder: Path) -> Task:
    stars = StarList(np.zeros((0, 2)), np.zeros(0), *SIZE, None, 0.0, False, False)
    return Task(folder / "a.fits", stars, Hints((19.0, 21.0)), folder, 30.0)


@pytest.mark.parametrize(("megabytes", "is_read"), [(45, True), (55, False)])
def test_a_solution_far_larger_than_any_header_is_not_read(
    tmp_path: Path, megabytes: int, is_read: bool
) -> None:
    """A header takes some 20 kB; 50 MB are a frame that was written beside it, and the size of a small image."""
    file = write_solution(tmp_path / "frame.wcs", SOLUTION, SIZE)
    with file.open("r+b") as stream:
        stream.truncate(megabytes * 1_000_000)
    ended = Ended(0, "")
    if is_read:
        assert read_match(task(tmp_path), ended, "a solver", "frame.wcs", None) is not None
    else:
        with pytest.raises(EngineError, match="too large"):
            read_match(task(tmp_path), ended, "a solver", "frame.wcs", None)
