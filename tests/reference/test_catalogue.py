"""Names of targets lead to the right objects: against the places of a published table that owes nothing to ours."""

from __future__ import annotations

import astropy.units as u
import pytest
from astropy.coordinates import SkyCoord

from polarcheck.sky import find_target
from tests.reference.deep_sky_places import CALDWELL, COMMON, MESSIER, NAMED_THERE, Place

LARGE = {9: 0.2, 14: 0.3, 20: 0.3, 34: 0.2, 41: 0.2, 49: 0.4, 85: 0.2, 99: 3.0}
"""Caldwell objects whose middle is a matter of taste: how far two tables may differ. [deg]"""


def apart_deg(name: str, place: Place) -> float:
    target = find_target(name)
    ours, theirs = SkyCoord(*target.place, unit=u.deg), SkyCoord(*place, unit=u.deg)
    return float(ours.separation(theirs).deg)


@pytest.mark.parametrize("written", ["M{}", "M {}", "m{}", "Messier {}", "M{:03d}"])
def test_every_messier_number_is_its_object(written: str) -> None:
    """The Pleiades and the star cloud M24 are so large that the tables differ by up to 0.14 deg."""
    apart = {number: apart_deg(written.format(number), place) for number, place in MESSIER.items()}
    assert len(apart) == 110
    assert {
        number: deg for number, deg in apart.items() if deg > (0.15 if number in (24, 45) else 0.05)
    } == {}


@pytest.mark.parametrize("written", ["C{}", "C {}", "Caldwell {}"])
def test_every_caldwell_number_is_its_object(written: str) -> None:
    apart = {number: apart_deg(written.format(number), place) for number, (_, place) in CALDWELL.items()}
    assert len(apart) == 109
    assert {number: deg for number, deg in apart.items() if deg > LARGE.get(number, 0.1)} == {}


def test_names_that_the_table_has_itself_are_the_same_objects() -> None:
    """60 and more names, word for word from the table."""
    assert len(NAMED_THERE) > 60
    assert {name for name, place in NAMED_THERE.items() if apart_deg(name, place) > 0.5} == set()


def test_common_names_are_the_objects_that_they_stand_for() -> None:
    """The Coalsack is 7 deg long; its middle is where one says."""
    assert len(COMMON) > 300
    far = {name: apart_deg(name, place) for name, (_, place) in COMMON.items()}
    assert {
        name for name, deg in far.items() if deg > (3.0 if "Coalsack" in name else 0.6)
    } - OUTLINED == set()


OUTLINED = {"Barnard's Loop"}
"""An arc of 10 deg: the table gives its brightest part, we its middle."""
