"""Tables of matched stars that a solver leaves."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import FrameError
from polarcheck.frames.star_lists import read_star_pairs


@pytest.mark.parametrize(("megabytes", "looked_at"), [(30, True), (80, False)])
def test_table_of_more_stars_than_any_frame_shows_is_not_read(
    tmp_path: Path, megabytes: int, looked_at: bool
) -> None:
    """A hundred bytes a star: half a million of them, more than a solver ever matches (common practice, no source)."""
    path = tmp_path / "x.corr"
    with path.open("wb") as file:
        file.truncate(megabytes * 1_000_000)
    with pytest.raises(FrameError) as caught:
        read_star_pairs(path)
    assert ("too large" in caught.value.reason) is not looked_at
