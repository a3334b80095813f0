"""Stars of frames measured beside the watch: round ones, long ones, and files that tell nothing."""

from __future__ import annotations

import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.watch import StarReader
from tests.at_the_mount import SWEEP, AtTheMount

PATIENCE_S = 60.0


def starry(path: Path, long: float, seed: int = 1) -> Path:
    """A frame of Gaussian stars whose second moments are in the ratio long squared."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:400, 0:600]
    image = rng.normal(1000.0, 10.0, (400, 600))
    for _ in range(40):
        x0, y0 = rng.uniform(30, 570), rng.uniform(30, 370)
        image += 8000 * np.exp(-(((x - x0) / (2.0 * long)) ** 2 + ((y - y0) / 2.0) ** 2) / 2)
    fits.PrimaryHDU(image.clip(0, 65000).astype(np.uint16)).writeto(path)
    return path


def read(*paths: Path) -> list[tuple[Path, float | None]]:
    got, told = [], threading.Event()
    with StarReader(told.set) as reader:
        for path in paths:
            told.clear()
            reader.want(path)
            assert told.wait(PATIENCE_S)
            got += reader.found()
    return got


def test_round_and_long_stars_are_told_apart(tmp_path: Path) -> None:
    (_, plain), (_, long) = read(starry(tmp_path / "a.fits", 1.0), starry(tmp_path / "b.fits", 1.5))
    assert plain == pytest.approx(1.0, abs=0.08)
    assert long == pytest.approx(1.5, abs=0.08)


def test_what_holds_no_stars_is_not_known(tmp_path: Path) -> None:
    empty = tmp_path / "c.fits"
    empty.write_bytes(b"")
    assert read(empty, tmp_path / "gone.fits") == [(empty, None), (tmp_path / "gone.fits", None)]


def test_elongation_of_target_frames_is_their_median_and_stays_with_its_target(tmp_path: Path) -> None:
    mount = AtTheMount(tmp_path)
    evening = mount.evening()
    seconds = 0.0
    for frame in mount.sweep(*SWEEP):
        evening.arrived([frame], [], seconds := seconds + 60)
    evening.settled()
    assert evening.stars_wanted is None
    mount.further(-35)
    mount.decline(25)
    paths = []
    for _ in range(4):
        frame = mount.shoot(60)
        paths.append(frame.path)
        evening.arrived([frame], [], seconds := seconds + 60)
    assert evening.stars_wanted == paths[-1]
    assert evening.target is not None
    assert evening.target.elongation is None
    for path, long in zip(paths[1:], (1.1, None, 1.3), strict=True):
        evening.told_stars(path, long)
    evening.told_stars(tmp_path / "of another target.fits", 9.0)
    assert evening.stars_wanted is None
    assert evening.target.elongation == pytest.approx(1.2)
    checked = evening.settled()[-1]
    assert checked.elongation == pytest.approx(1.2)  # type: ignore[attr-defined]


class Waits:
    """Stands for the event that ends it: notes how long it is waited for, and waits for nothing."""

    def __init__(self, count: int) -> None:
        self.seconds: list[float] = []
        self.count = count

    def wait(self, seconds: float) -> bool:
        self.seconds.append(seconds)
        return len(self.seconds) >= self.count

    def is_set(self) -> bool:
        return False

    def set(self) -> None: ...


def test_frames_are_shown_first_and_most_of_a_core_is_left(tmp_path: Path) -> None:
    """A frame is on the screen within half a second, its stars take about one (common practice, no source): a second
    before, and four to rest. Of results that nobody fetches some twenty are kept.
    """
    waits: Any = Waits(61)
    reader = StarReader(lambda: reader.want(tmp_path / "gone.fits"))
    reader._over = waits
    reader.want(tmp_path / "gone.fits")
    reader._run()
    assert all(0.6 < seconds < 1.8 for seconds in waits.seconds[::2])
    assert all(2.5 < seconds < 6.0 for seconds in waits.seconds[1::2])
    assert 15 <= len(reader.found()) < 30
    assert reader.found() == []


def test_at_the_end_a_frame_under_way_is_waited_for_briefly() -> None:
    """A large one takes some three seconds; nobody who ends the evening wants to wait for longer than eight."""
    joined: list[float] = []
    reader = StarReader(lambda: None)
    thread: Any = SimpleNamespace(start=lambda: None, join=joined.append)
    reader._thread = thread
    with reader:
        pass
    assert 3.0 < joined[0] < 8.0
