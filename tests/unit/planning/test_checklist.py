"""The checklist: the right steps for the mount and the hour, in the trade's order."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.planning import Checklist, Finder, checklist_for, rough_setup
from polarcheck.report import checklist_steps, checklist_text
from polarcheck.rig import Rig, read_rig
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import utc_from_iso

DAY, NIGHT = "2026-11-14T13:00:00", "2026-11-14T20:00:00"


def rig(folder: Path, kind: str) -> Rig:
    path = folder / "rig.toml"
    path.write_text(f"[mount]\nkind = '{kind}'\n", encoding="utf-8")
    return read_rig(path)


def steps(
    time: str = DAY, latitude_deg: float = 47.3, of: Rig | None = None, finder: Finder | None = None
) -> Checklist:
    return checklist_for(rough_setup(Sky.over(Site(latitude_deg, 11.2)), utc_from_iso(time)), of, finder)


def test_knobs_come_first_and_the_counterweight_before_the_telescope() -> None:
    stages = steps().stages
    order = [
        "centre knobs",
        "tripod",
        "direction",
        "latitude",
        "counterweight",
        "telescope",
        "balance",
        "pole star",
    ]
    assert [stage for stage in stages if stage in order] == order


@pytest.mark.parametrize(("kind", "has"), [("german", True), ("fork", False), ("tracker", False)])
def test_only_a_german_mount_has_a_counterweight(tmp_path: Path, kind: str, has: bool) -> None:
    found = steps(of=rig(tmp_path, kind))
    assert ("counterweight" in found.stages) is has
    assert ("counterweight" in checklist_text(found).lower()) is has


@pytest.mark.parametrize(("time", "up"), [(DAY, True), (NIGHT, False)])
def test_sun_is_cautioned_of_while_it_is_up(time: str, up: bool) -> None:
    found = steps(time)
    assert ("sun" in found.stages) is up
    assert ("never sweep across it" in " ".join(checklist_text(found).split())) is up


@pytest.mark.parametrize(
    ("finder", "told", "not_told"),
    [
        ("inverting", "in the inverting finder", "upright"),
        ("upright", "in the upright finder", "inverting"),
        ("none", "Without a polar finder", "arcmin from the pole"),
        (None, "in an upright finder", "Without a polar finder"),
    ],
)
@pytest.mark.parametrize("latitude_deg", [47.3, -31.4])
def test_pole_star_is_set_as_the_finder_shows_it(
    finder: Finder | None, told: str, not_told: str, latitude_deg: float
) -> None:
    whole = " ".join(checklist_text(steps(NIGHT, latitude_deg, finder=finder)).split())
    assert told in whole
    assert not_told not in whole
    assert ("Polaris" if latitude_deg > 0 else "sigma Octantis") in whole
    assert ("south" if latitude_deg < 0 else "north") in whole


def test_hidden_pole_star_is_not_asked_for() -> None:
    whole = " ".join(checklist_text(steps(NIGHT, 0.5)).split())
    assert "The pole star is hidden here" in whole


def test_list_is_plain_and_fits_a_page_of_text() -> None:
    shown = checklist_text(steps())
    assert max(len(line) for line in shown.splitlines()) <= 79
    assert shown.count("[ ] ") == len(checklist_steps(steps())) == len(steps().stages)
