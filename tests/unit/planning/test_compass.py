"""Where a compass serves: the zones and the dates of the World Magnetic Model."""

from __future__ import annotations

import pytest

from polarcheck.planning import compass_at
from polarcheck.site import Site
from polarcheck.times import utc_from_iso

SUMMER = utc_from_iso("2026-06-01T00:00:00")


@pytest.mark.parametrize(
    ("site", "between_nt", "said"),
    [
        (Site(60.0, -95.0), (6000, 12000), None),
        (Site(68.0, -95.0), (2000, 6000), "unsure"),
        (Site(85.0, 140.0), (0, 2000), "of no use"),
    ],
)
def test_compass_is_doubted_where_the_horizontal_field_is_weak(
    site: Site, between_nt: tuple[float, float], said: str | None
) -> None:
    """Caution zone below 6000 nT, blackout zone below 2000 nT: report on the World Magnetic Model, from memory."""
    compass = compass_at(site, SUMMER)
    assert compass.horizontal_nt is not None
    assert between_nt[0] < compass.horizontal_nt < between_nt[1]
    assert [notice.code for notice in compass.notices] == ([] if said is None else ["compass-weak"])
    assert all(said is not None and said in notice.text for notice in compass.notices)


@pytest.mark.parametrize(
    ("date", "known"),
    [("2009-12-31", False), ("2010-01-02", True), ("2029-12-30", True), ("2030-01-02", False)],
)
def test_declination_is_known_from_2010_to_2030(date: str, known: bool) -> None:
    """A model serves five years from its epoch; those of 2010, 2015, 2020 and 2025 are shipped with pygeomag."""
    assert (
        compass_at(Site(47.3, 11.2), utc_from_iso(f"{date}T12:00:00")).declination_deg is not None
    ) is known
