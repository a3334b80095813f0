"""What a sweep is expected to give."""

from __future__ import annotations

import pytest

from polarcheck.frames import read_frame
from polarcheck.planning.expected import DEMO_CAMERA
from tests.commands import SAMPLES


def test_camera_of_who_states_none_is_that_of_the_sample_frames() -> None:
    """As its warning says: 250 mm, 4.95 arcsec/px, 1200 x 900 px."""
    frame = read_frame(sorted((SAMPLES / "north_sweep").glob("*.fits.fz"))[0])
    assert (DEMO_CAMERA.width_px, DEMO_CAMERA.height_px) == (frame.width_px, frame.height_px)
    assert DEMO_CAMERA.scale_arcsec == pytest.approx(frame.pixel_scale_arcsec, rel=0.01)
