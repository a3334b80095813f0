"""A tolerance that no star shows."""

from __future__ import annotations

import pytest

from polarcheck.outlook.seeing import seeing_notices
from polarcheck.outlook.star_look import elongation_of
from tests.unit.outlook.test_star_look import even_trail


@pytest.mark.parametrize(("tolerance_arcsec", "told"), [(0.55, True), (0.65, False)])
def test_a_motion_of_less_than_a_fifth_of_a_stars_size_is_hidden(tolerance_arcsec: float, told: bool) -> None:
    """It lengthens a star of 3 arcsec by about one in a hundred, which nobody sees (common practice, no source)."""
    assert [notice.code for notice in seeing_notices(tolerance_arcsec, 3.0)] == (
        ["below-seeing"] if told else []
    )
    assert (elongation_of(even_trail(tolerance_arcsec), 3.0) < 1.01) is told
    assert seeing_notices(tolerance_arcsec, None) == ()
