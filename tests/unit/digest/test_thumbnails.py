"""Small pictures: what is bright stays bright, rows are turned, and odd pixels harm nothing."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image as Pictures

from polarcheck.digest.thumbnails import _MOST_BYTES, Thumbnail, thumbnail_of
from polarcheck.frames import Image


def sky(height: int = 600, width: int = 900, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(1000.0, 10.0, (height, width)).astype(np.float32)


def opened(picture: Thumbnail | None) -> np.ndarray:
    assert picture is not None
    return np.asarray(Pictures.open(BytesIO(picture.jpeg))).astype(float)


def test_a_star_at_the_first_row_is_seen_at_the_bottom() -> None:
    pixels = sky()
    pixels[30:34, 90:94] += 5000.0
    picture = thumbnail_of(Image(pixels, None, None))
    seen = opened(picture)
    assert picture is not None
    assert seen.shape == (picture.height_px, picture.width_px) == (150, 225)
    row, column = np.unravel_index(int(seen.argmax()), seen.shape)
    assert abs(row - (150 - 1 - 32 / 4)) <= 1
    assert abs(column - 92 / 4) <= 1
    assert seen.max() > 4 * np.median(seen)


@pytest.mark.parametrize("offset", [0.0, 40_000.0])
def test_the_sky_is_dark_whatever_its_level(offset: float) -> None:
    assert np.median(opened(thumbnail_of(Image(sky() + np.float32(offset), None, None)))) < 80


def test_size_in_bytes_is_bounded_even_for_noise() -> None:
    noise = np.random.default_rng(3).uniform(0, 65535, (3000, 4000)).astype(np.float32)
    picture = thumbnail_of(Image(noise, None, None))
    assert picture is not None
    assert len(picture.jpeg) < 2 * _MOST_BYTES
    assert max(picture.width_px, picture.height_px) <= 256


@pytest.mark.parametrize("value", [np.nan, np.inf, 0.0])
def test_pixels_that_are_all_alike_or_no_numbers(value: float) -> None:
    picture = thumbnail_of(Image(np.full((40, 50), value, dtype=np.float32), None, None))
    assert (picture is None) == (not np.isfinite(value))


def test_planes_mosaics_and_narrow_frames() -> None:
    colours = np.stack([sky(), sky(seed=2), sky(seed=3)])
    assert opened(thumbnail_of(Image(colours, None, None))).shape == (150, 225)
    assert opened(thumbnail_of(Image(sky(), "RGGB", None))).shape == (150, 225)
    assert opened(thumbnail_of(Image(sky(3, 2000), None, None))).shape == (1, 250)


@pytest.mark.parametrize("share", [0.1, 0.4])
def test_a_crowded_field_is_made_smaller_and_no_more_than_needed(share: float) -> None:
    """Fourteen kilobytes: 24 such pictures and the rest make a page that can be mailed (common practice, no source)."""
    random = np.random.default_rng(3)
    pixels = random.normal(1000, 10, (190, 190))
    crowd = random.random(pixels.shape) < share
    pixels[crowd] += random.uniform(50, 5000, crowd.sum())
    picture = thumbnail_of(Image(pixels.astype(np.float32), None, None))
    assert picture is not None
    assert 10_500 < len(picture.jpeg) <= 14_000


def test_a_quiet_sky_has_the_best_of_the_qualities() -> None:
    """72 of libjpeg's scale, which its tables of quantisation tell (common practice for pictures, no source)."""
    stream = BytesIO()
    Pictures.new("L", (8, 8)).save(stream, "JPEG", quality=72)
    picture = thumbnail_of(Image(sky(), None, None))
    assert picture is not None
    found, expected = (Pictures.open(BytesIO(content)) for content in (picture.jpeg, stream.getvalue()))
    assert found.quantization == expected.quantization  # type: ignore[attr-defined]


def test_sky_is_dark_grey_and_what_stands_out_by_forty_sigmas_is_white() -> None:
    """A sky of a tenth of the way to white shows its gradients and tires no eye; nothing is white that a dozen sigmas
    make, so that faint and bright stars differ (common practice, no source).
    """
    pixels = sky(240, 240)
    for column, sigmas in ((40, 20.0), (120, 45.0)):
        pixels[100:132, column : column + 32] += np.float32(10.0 * sigmas)
    seen = opened(thumbnail_of(Image(pixels, None, None)))[::-1]
    assert 19 < np.median(seen) < 31
    assert 150 < np.median(seen[108:124, 48:64]) < 225
    assert np.median(seen[108:124, 128:144]) > 250
