"""The best axis for a target: how far from the refracted pole it is looked for."""

from __future__ import annotations

import pytest

from polarcheck.outlook.target_axis import aim_for_target
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import utc_from_iso

START = utc_from_iso("2026-11-14T21:00:00")


def test_an_aim_is_looked_for_within_five_arcmin_and_its_edge_is_no_optimum() -> None:
    """As the help says; farther the field would turn about the target (common practice, no source)."""
    low = aim_for_target(Sky.over(Site(47.3, 11.2, 900.0)), (20.0, -5.0), START, 3600.0)
    assert low.is_at_edge
    assert low.offset_arcmin == pytest.approx(5.0, abs=0.01)


def test_an_optimum_inside_is_one() -> None:
    high = aim_for_target(Sky.over(Site(30.0, 11.2, 900.0)), (20.0, 10.0), START, 3600.0)
    assert 2.5 < high.offset_arcmin < 4.0
    assert not high.is_at_edge
    assert high.drift_arcsec < high.drift_at_refracted_pole_arcsec
