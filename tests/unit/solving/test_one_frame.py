"""What the frames of one camera teach the next one, and which images are too small."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.solving import Place, Shared, Solver
from polarcheck.solving.engine import Match, Task
from polarcheck.solving.one_frame import Learned, NotSolvedError, _stars_of, recognise
from polarcheck.solving.wanted import Hints
from tests.solvers import star_field, write_frame


def test_the_next_frame_of_a_camera_has_its_scale_within_two_percent() -> None:
    """Focus and temperature change a focal length by less than one (common practice, no source)."""
    learned = Learned()
    assert learned.scale((1200, 900)) is None
    learned.add((1200, 900), 2.0)
    assert learned.scale((1200, 900)) == pytest.approx((1.96, 2.04))
    assert learned.scale((600, 450)) is None


@pytest.mark.parametrize(("height", "enough"), [(50, False), (100, True)])
def test_an_image_of_a_star_or_two_is_too_small(tmp_path: Path, height: int, enough: bool) -> None:
    """64 px: no window that a guide camera reads out holds a pattern (common practice, no source)."""
    image: np.ndarray = star_field((200, height), 12)[0]
    path = write_frame(tmp_path / "a.fits", image)
    if enough:
        assert len(_stars_of(path)) > 3
    else:
        with pytest.raises(NotSolvedError, match="too small"):
            _stars_of(path)


def test_a_wrong_hint_leaves_half_of_the_time_to_go_without_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first guess is right most times and may take a third of the time at least; when it fails slowly, what is tried
    last, with nothing believed, still has a fifth.
    """
    clock, given = [1000.0], []
    monkeypatch.setattr("polarcheck.solving.one_frame.time.monotonic", lambda: clock[0])

    class Slow:
        name = "a solver"

        def match(self, task: Task, children: object) -> Match | None:
            given.append((task.hints, task.limit_s))
            clock[0] += task.limit_s
            return None

        def missing_sizes(self, *_: object) -> None:
            return None

    engine: Any = Slow()
    solver = Solver(engine=engine, limit_s=30.0, rig_scale_arcsec=20.0, place=Place(100.0, 40.0))
    with pytest.raises(NotSolvedError, match="within 30 s"):
        recognise(write_frame(tmp_path / "a.fits"), solver, Shared())
    hints, limits = zip(*given, strict=True)
    assert [h.place is None for h in hints] == [False, True, True]
    assert hints[-1] == Hints()
    assert 10.0 <= limits[0] <= 20.0
    assert limits[-1] >= 6.0
    assert sum(limits) == pytest.approx(30.0)


def test_two_images_are_in_the_memory_at_once() -> None:
    """One is read while the stars of another are looked for; a frame of 60 Mpx takes half a gigabyte meanwhile, and a
    small board has two (common practice, no source).
    """
    reading = Shared().reading
    assert [reading.acquire(blocking=False) for _ in range(3)] == [True, True, False]
