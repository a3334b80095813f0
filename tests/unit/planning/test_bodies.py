"""When there is a shadow, and how long it is tabulated."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.planning.bodies import Body, shadows
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import add_seconds, seconds_between, utc_from_iso

SKY = Sky.over(Site(47.3, 11.2))


def test_shadows_of_four_hours_are_told() -> None:
    """From arriving by daylight to dusk."""
    begin = utc_from_iso("2026-06-21T09:00:00")
    told = shadows(begin, SKY)
    assert seconds_between(begin, told[-1].utc) == pytest.approx(4 * 3600, abs=1200)


def test_last_shadow_is_thirty_to_sixty_times_as_long_as_its_pole() -> None:
    """The cotangent of 1 to 2 deg: beyond that it has no end that one could see (common practice, no source)."""
    longest = [
        shadows(add_seconds(utc_from_iso("2026-11-14T14:00:00"), 60.0 * minute), SKY)[-1].length
        for minute in range(10)
    ]
    assert np.max(longest) == pytest.approx(1 / np.tan(np.radians(1.0)), rel=0.3)


@pytest.mark.parametrize(("altitude_deg", "is_up"), [(-0.2, True), (-0.4, False)])
def test_sun_is_up_while_any_of_its_disc_is(altitude_deg: float, is_up: bool) -> None:
    """Its disc is 32 arcmin across."""
    body = Body(0.0, altitude_deg, altitude_deg, np.array([0.0, 1.0, 0.0]))
    assert body.is_up is is_up
