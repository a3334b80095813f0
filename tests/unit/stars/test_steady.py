"""Which frames are left out because the mount still moved, and what is said of the others."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from polarcheck.frames import Frame, FrameSet, read_frames
from polarcheck.stars import FrameStars, steady_frames, summarise
from tests.commands import SAMPLES
from tests.star_tables import anywhere, star_table


@pytest.fixture(scope="module")
def frame() -> Frame:
    return read_frames([SAMPLES / "north_sweep"]).frames[0]


def tell(monkeypatch: pytest.MonkeyPatch, stars: int, trail: float) -> None:
    """Every file looked at shows so many stars, all with one trail."""
    elongation = 1.8 if trail else 1.02
    summary = summarise(star_table(anywhere(stars), trail=trail, elongation=elongation, angle=30.0))

    def stars_of(path: Path) -> FrameStars:
        return FrameStars(path, path.name, 1200, 900, summary, None, None)

    monkeypatch.setattr("polarcheck.stars.steady.stars_of", stars_of)


@pytest.mark.parametrize(
    ("trail", "is_kept"), [(2.3, True), (5.0, True), (7.5, True), (8.5, False), (15.0, False)]
)
def test_trails_from_eight_pixels_on_leave_a_frame_out(
    monkeypatch: pytest.MonkeyPatch, frame: Frame, trail: float, is_kept: bool
) -> None:
    """Shorter ones shift a solution by less than its noise (docs/stars.md): the frame is used, and that is said."""
    tell(monkeypatch, 60, trail)
    found, notices = steady_frames(FrameSet((frame,), ()))
    assert (len(found.frames) == 1) is is_kept
    assert ("moved-a-little" in {notice.code for notice in notices}) is is_kept
    assert (len(found.problems) == 1) is not is_kept


@pytest.mark.parametrize(("stars", "is_said"), [(8, True), (14, True), (16, False), (29, False), (40, False)])
def test_fewer_than_fifteen_stars_are_said(
    monkeypatch: pytest.MonkeyPatch, frame: Frame, stars: int, is_said: bool
) -> None:
    """A solution from so few is noisy: common practice, no source."""
    tell(monkeypatch, stars, 0.0)
    _, notices = steady_frames(FrameSet((frame,), ()))
    assert ("few-stars" in {notice.code for notice in notices}) is is_said


def test_four_frames_are_named_and_the_rest_counted(monkeypatch: pytest.MonkeyPatch, frame: Frame) -> None:
    """A hundred names would hide what is said of them."""
    tell(monkeypatch, 8, 0.0)
    frames = tuple(replace(frame, name=f"dusk-{k}.fits") for k in range(9))
    _, (notice,) = steady_frames(FrameSet(frames, ()))
    assert [f"dusk-{k}.fits" in notice.text for k in range(9)] == [True] * 4 + [False] * 5
    assert "and 5 more" in notice.text
