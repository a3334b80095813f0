"""A real sequence: 142 frames of one field, tracked without guiding for seven hours by a small robotic telescope.

Source: public sample data of an exoplanet-transit project, see the table's comments and SOURCES.md. What is known of
it does not come from this package: the drive runs off the sidereal rate, nothing was knocked, and the declination
alone gives an axis 4.5 +- 0.7 arcmin east (on the sky) and 10 +- 1 arcmin low in both halves.
"""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.frames import FrameSet
from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import Measurement
from tests.benchmarks.real_sequence import real_frames
from tests.benchmarks.tracked import deviations

FRAMES = real_frames()


def measured(part: slice) -> Measurement:
    return measure_frames(FrameSet(FRAMES[part], ()))


@pytest.mark.parametrize(
    "part",
    [
        *(slice(None, None, every) for every in (1, 5, 7, 10, 20)),
        *(slice(first, first + 80) for first in (0, 31, 62)),
    ],
    ids=str,
)
def test_nothing_was_knocked_and_all_is_one_group(part: slice) -> None:
    found = measured(part)
    assert found.fit.knocked_before is None
    assert len(found.fit.camera_axes) == 1
    assert not found.left_out
    assert not found.fit.is_guided


@pytest.mark.parametrize("part", [slice(None), slice(0, 71), slice(71, 142)], ids=str)
def test_the_axis_is_where_the_declination_has_it(part: slice) -> None:
    found = measured(part)
    assert found.error.azimuth_on_sky_arcmin == pytest.approx(4.5, abs=2.0)
    assert found.error.altitude_arcmin == pytest.approx(-10.0, abs=2.5)


def test_that_the_rotation_says_otherwise_is_said_and_allowed_for() -> None:
    # rotation alone: 12 arcmin east and 23 low
    found = measured(slice(None))
    assert "rotation-contradicts" in [notice.code for notice in found.notices]
    assert found.fit.contradiction is not None
    systematic = found.alignment.systematic
    assert systematic is not None
    assert systematic.half_widths_arcmin(found.axis)[1] > 10


@pytest.mark.parametrize("length", [40, 80])
def test_windows_agree_with_the_whole_as_their_sigmas_say(length: int) -> None:
    z = deviations(length, 12)
    assert 0.7 < np.sqrt(np.mean(z**2)) < 1.3
