"""Numbers of more than one room, each against what is said of it elsewhere."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from polarcheck.constants import FWHM_PER_SIGMA
from polarcheck.measurement import Conditions, measure
from tests.commands import SAMPLES

ROOT = Path(__file__).parents[2]


def test_two_frames_are_taken_to_be_good_to_a_fifth_of_a_pixel() -> None:
    """docs/measure.md and docs/accuracy.md have 0.2 px; the samples' solutions scatter by 0.01 to 0.05."""
    two = sorted((SAMPLES / "north_sweep").glob("*.fits.fz"))[::4][:2]
    unsaid, said = measure(two).error, measure(two, conditions=Conditions(noise_px=0.2)).error
    assert unsaid.altitude_sigma_arcmin == pytest.approx(said.altitude_sigma_arcmin, rel=0.01)
    assert "an assumed noise of 0.2 px" in (ROOT / "docs" / "measure.md").read_text(encoding="utf-8")


def test_a_gaussian_is_half_as_high_at_half_of_its_width() -> None:
    """exp(-x^2 / 2) = 1 / 2."""
    assert math.exp(-((FWHM_PER_SIGMA / 2) ** 2) / 2) == pytest.approx(0.5, abs=1e-15)
