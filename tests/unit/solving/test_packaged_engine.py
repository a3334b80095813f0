"""What the package answered is read within bounds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.errors import PolarcheckError
from polarcheck.solving.children import Children, Ended
from polarcheck.solving.engine import Task
from polarcheck.solving.index_files import IndexFile
from polarcheck.solving.packaged_engine import PackagedEngine
from polarcheck.solving.wanted import Hints
from polarcheck.stars import StarList
from tests.solvers import SIZE


def task(folder: Path) -> Task:
    stars = StarList(np.zeros((0, 2)), np.zeros(0), *SIZE, None, 0.0, False, False)
    return Task(folder / "a.fits", stars, Hints((19.0, 21.0)), folder, 30.0)


@pytest.mark.parametrize(("megabytes", "is_read"), [(15, True), (25, False)])
def test_an_answer_far_larger_than_any_is_not_read(tmp_path: Path, megabytes: int, is_read: bool) -> None:
    """A star takes 40 bytes of it, and an index holds some 10,000 about a field: 0.4 MB."""

    class Answering(Children):
        def run(self, command: object, folder: Path, limit_s: float) -> Ended:
            empty = '{"fields": {}, "stars": []}'
            (folder / "answer.json").write_text(empty.ljust(megabytes * 1_000_000), encoding="utf-8")
            return Ended(0, "")

    engine = PackagedEngine((IndexFile(tmp_path / "index-1.fits", (5.0, 60.0)),))
    if is_read:
        assert engine.match(task(tmp_path), Answering()) is None
    else:
        with pytest.raises(PolarcheckError):
            engine.match(task(tmp_path), Answering())
