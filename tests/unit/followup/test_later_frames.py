"""Which frames are later ones: the same frame again, and the next night."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polarcheck.alignment import Alignment, Step
from polarcheck.errors import GeometryError
from polarcheck.followup.later_frames import later_frames
from polarcheck.frames import Frame, FrameSet, sensor_of
from polarcheck.site import Site
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds
from tests.helpers import DEG, enu

FRAME = Frame(
    path=Path("a.fits"),
    name="a.fits",
    folder="",
    width_px=1200,
    height_px=900,
    sky=np.zeros((9, 3)),
    utc=(2461359.5, 0.3),
    exposure_s=10.0,
    pixel_scale_arcsec=5.0,
    mirrored=False,
    site=None,
    solution_file=None,
    notices=(),
)
BEFORE = Alignment(
    Sky.over(Site(47.3, 11.2)),
    "true",
    enu(0.0, 47.3 * DEG),
    sensor=sensor_of(FRAME),
    steps=(Step(FRAME.utc, 0.0, 47.3, np.eye(2)),),
)


def after(seconds: float) -> Frame:
    return replace(FRAME, utc=add_seconds(FRAME.utc, seconds))


@pytest.mark.parametrize(
    ("seconds", "reason"),
    [
        (-0.03, "was taken before"),
        (-0.015, "is the frame that"),
        (0.015, "is the frame that"),
        (0.03, None),
    ],
)
def test_frame_at_the_moment_of_the_result_is_its_own_but_for_rounding(
    seconds: float, reason: str | None
) -> None:
    """A kept result rounds to a hundredth of a second, and a header to its own; no camera is that quick."""
    frames, early = later_frames(BEFORE, FrameSet((after(seconds), after(60.0)), ()))
    assert len(frames) == 2 - len(early)
    assert [problem.reason[: len(str(reason))] for problem in early] == ([] if reason is None else [reason])


def test_a_winter_night_of_far_latitudes_is_one_night() -> None:
    """At 60 deg the longest one lasts 18 h from sunset to sunrise (almanacs, from memory: 18 h 7 min)."""
    assert later_frames(BEFORE, FrameSet((after(17 * 3600.0),), ()))[0]
    with pytest.raises(GeometryError, match=r"was taken 19 h after .* on another night"):
        later_frames(BEFORE, FrameSet((after(19 * 3600.0),), ()))
