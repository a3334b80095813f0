"""What the frames of one camera teach the next one, and which images are too small."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.solving.one_frame import Learned, NotSolvedError, _stars_of
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
