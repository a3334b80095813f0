"""Files whose pixels are measured, or the reason why not; what is said of many of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.stars import FrameStars, star_notices, stars_of, summarise
from tests.star_tables import anywhere, star_table


def frame_of(folder: Path, pixels: np.ndarray) -> FrameStars:
    path = folder / "frame.fits"
    fits.PrimaryHDU(pixels.astype(np.float32)).writeto(path)
    return stars_of(path)


def sky(height: int, width: int) -> np.ndarray:
    """A sky with one star that nobody could miss."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:height, :width]
    star = 20_000 * np.exp(-((x - width // 2) ** 2 + (y - height // 2) ** 2) / 4)
    return np.asarray(rng.normal(1000, 10, (height, width)) + star)


@pytest.mark.parametrize(("side", "is_measured"), [(9, False), (15, False), (17, True), (30, True)])
def test_a_picture_under_sixteen_pixels_holds_no_stars(tmp_path: Path, side: int, is_measured: bool) -> None:
    found = frame_of(tmp_path, sky(side, 200))
    assert (found.summary is not None) is is_measured
    assert (found.reason is None) is is_measured


@pytest.mark.parametrize(("known", "is_measured"), [(0.12, False), (0.18, False), (0.25, True), (0.35, True)])
def test_a_picture_of_which_a_fifth_is_known_is_measured(
    tmp_path: Path, known: float, is_measured: bool
) -> None:
    """Rotated and shifted stacks have empty corners; what is left of it need not be much."""
    pixels = sky(200, 300)
    pixels[int(200 * known) :] = np.nan
    assert (frame_of(tmp_path, pixels).reason is None) is is_measured


@pytest.mark.parametrize(("counts", "is_measured"), [(7e11, True), (1.4e12, False)])
def test_no_camera_counts_to_a_trillion(tmp_path: Path, counts: float, is_measured: bool) -> None:
    """A stack of thousands of 16 bit exposures reaches 1e9; beyond 1e12 stand marks for what is unknown."""
    assert (frame_of(tmp_path, np.full((60, 80), counts) + sky(60, 80)).reason is None) is is_measured


def test_six_frames_are_named_and_the_rest_counted() -> None:
    """A hundred names would hide what is said of them."""
    summary = summarise(star_table(anywhere(40), trail=9.0, elongation=1.8, angle=30.0))
    frames = [FrameStars(Path(f"d{k}"), f"dusk-{k}.fits", 1200, 900, summary, None, None) for k in range(13)]
    (notice,) = star_notices(frames)
    assert notice.code == "moved-while-exposed"
    assert [f"dusk-{k}.fits" in notice.text for k in range(13)] == [True] * 6 + [False] * 7
    assert "and 7 more" in notice.text
