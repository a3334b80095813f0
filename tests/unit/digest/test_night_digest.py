"""A night gathered: from its file, else from its frames; what the mount stands like, which frames, which targets."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest

from polarcheck.digest import DigestWish, NightDigest, ReportSchema, digest_night
from polarcheck.digest.frame_rows import _MOST_PICTURES, FrameRow, _chosen
from polarcheck.digest.lights import LightFrames
from polarcheck.digest.night_digest import _checklist, _notices
from polarcheck.digest.targets import TargetDigest
from polarcheck.errors import InputError
from polarcheck.frames import read_frames
from polarcheck.measurement import Conditions
from polarcheck.night import NIGHT_FILE, NightBook
from polarcheck.rig import read_rig
from polarcheck.sky import Sky, as_target, find_target, sun_altitude_deg
from polarcheck.times import add_seconds, seconds_between
from tests.commands import NORTH, SAMPLES, frames
from tests.helpers import utc_date
from tests.told_nights import told_night
from tests.write_schemas import json_schema


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return told_night(tmp_path_factory.mktemp("told") / "evening")


@pytest.fixture(scope="module")
def night(folder: Path) -> NightDigest:
    return digest_night(folder, read_rig(folder / "rig.toml"), DigestWish((find_target("M31"),)))


@pytest.fixture
def sweep(tmp_path: Path) -> Path:
    frames(tmp_path / "sweep", count=4)
    return tmp_path / "sweep"


def test_a_night_with_a_file_is_told_from_it(night: NightDigest) -> None:
    assert night.source == "night file"
    assert night.standing == "as found"
    assert [finding.step.is_fresh for finding in night.findings] == [True, False, False]
    assert night.findings[0].alignment.error.azimuth_arcmin == pytest.approx(40.0, abs=0.5)
    assert night.findings[0].step.turned is not None
    assert night.correction is not None
    assert night.optics_source == "rig file"


def test_every_frame_is_told_with_what_it_was_for(night: NightDigest) -> None:
    parts = {row.name: (row.part, row.number) for row in night.frames}
    assert {parts[name] for name in parts if name.startswith("simulated")} == {("sweep", 1)}
    assert {parts[name][0] for name in parts if name.startswith("after")} == {"follow-up"}
    assert {parts[name] for name in parts if name.startswith("light")} == {("target", 1)}
    assert all(row.picture is not None and row.stars is not None for row in night.frames)
    assert all(row.residual_arcsec is not None for row in night.frames if row.part == "sweep")


def test_targets_are_those_asked_for_and_those_with_frames(night: NightDigest) -> None:
    asked, seen = night.targets
    assert asked.target.name == "M31"
    assert asked.lights is None
    assert seen.lights is not None
    assert len(seen.lights.frames) == 8
    assert seen.finding == len(night.findings)
    assert seen.seen is not None
    excess = seen.seen.rate_excess_arcsec_per_min
    assert (np.abs(excess) < 4 * seen.seen.rate_excess_sigma + 0.5).all()
    assert seen.seen.rates_arcsec_per_min[:2] == pytest.approx(
        [seen.drift.rates.east_arcsec_per_min, seen.drift.rates.north_arcsec_per_min],  # type: ignore[union-attr]
        abs=1.0,
    )


def test_the_set_up_is_of_the_last_daylight_before_the_night(night: NightDigest) -> None:
    setup, first = night.checklist.setup, night.findings[0].step.utc
    assert 0 < seconds_between(setup.utc, first) < 24 * 3600
    assert sun_altitude_deg(np.array([setup.utc]), NORTH)[0] > 4.0
    assert "sun" in night.checklist.stages


def test_all_of_it_is_json_as_the_schema_says(night: NightDigest) -> None:
    content = ReportSchema.of(night).to_dict()
    jsonschema.Draft202012Validator(json_schema(ReportSchema)).validate(content)
    assert len(content["findings"]) == 3
    assert len(content["targets"][0]["guided"]["motion"]) > 50
    assert content["warnings"] == [{"code": notice.code, "text": notice.text} for notice in night.notices]


def test_outlines_reach_as_far_as_their_probability_asks(night: NightDigest) -> None:
    """Chi square with two degrees of freedom: the 95 % outline is 1.6 times the 68 % one for a known noise (tables)."""
    last = night.last
    assert last.outline_68_arcmin is not None
    assert last.outline_95_arcmin is not None
    inner, outer = (np.hypot(*o.T).max() for o in (last.outline_68_arcmin, last.outline_95_arcmin))
    assert 1.6 < outer / inner < 3.0
    # of an ellipse drawn in steps of 5 deg nothing is off by more than 1 - cos 2.5 deg, a thousandth, and it is closed
    for outline in (last.outline_68_arcmin, last.outline_95_arcmin, last.sag_outline_arcmin):
        assert outline is not None
        assert outline[0] == pytest.approx(outline[-1])
        assert 360 / 6 < len(outline) < 360 / 3
    assert last.sag_outline_arcmin is not None
    up = last.alignment.allowances_arcmin[1]
    assert np.abs(last.sag_outline_arcmin[:, 1]).max() == pytest.approx(up, rel=0.01)


def test_a_folder_without_a_file_has_its_frames_measured(sweep: Path) -> None:
    found = digest_night(sweep)
    assert found.source == "frames"
    assert len(found.findings) == 1
    assert found.optics_source == "frames"
    assert not (sweep / NIGHT_FILE).exists()


def told(folder: Path, *write: Callable[[NightBook], Any]) -> NightDigest:
    book = NightBook(folder)
    from polarcheck.measurement import measure

    book.write(book.measured(measure(folder), [folder]))
    for make in write:
        book.write(make(book))
    return digest_night(folder)


def test_after_a_turn_nobody_advises_on_what_was(sweep: Path) -> None:
    found = told(sweep, lambda book: book.turned((0.5, -0.25)))
    assert found.standing == "turned since"
    assert found.turned_since == (0.5, -0.25)
    assert found.correction is None


def test_no_turn_is_no_turn_but_there_and_back_is_one(sweep: Path) -> None:
    none = told(sweep, lambda book: book.turned((0.0, 0.0)))
    assert none.standing == "as found"
    assert none.turned_since is None
    assert none.correction is not None
    back = told(sweep, lambda book: book.turned((0.5, 0.0)), lambda book: book.turned((-0.5, 0.0)))
    assert back.standing == "turned since"
    assert back.turned_since == (0.0, 0.0)


def test_after_a_move_nobody_knows_how_the_mount_stands(sweep: Path) -> None:
    found = told(sweep, lambda book: book.moved("the tripod was knocked"))
    assert found.standing == "moved since"
    assert found.correction is None
    assert ReportSchema.of(found).to_dict()["correction"] is None


def test_looks_and_refusals_are_kept(sweep: Path) -> None:
    found = told(
        sweep,
        lambda book: book.refused("cloud", [sweep / "a.fits"]),
        lambda book: book.checked([sweep / "b.fits"], 3, (1.0, -0.5), 1.1),
    )
    assert [event.reason for event in found.refusals] == ["cloud"]
    assert [event.frames for event in found.looks] == [3]


def test_the_six_last_targets_that_frames_show_are_told(sweep: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An evening has one target or a few; of a survey of many fields the page would be nothing but tables."""
    shown = read_frames(sweep).frames
    lights = tuple(LightFrames(as_target((10.0 * i, 60.0)), shown) for i in range(20))
    room = "polarcheck.digest.night_digest"
    monkeypatch.setattr(f"{room}.light_frames", lambda _: lights)
    monkeypatch.setattr(
        f"{room}.seen_target", lambda light, *_: TargetDigest(light.target, (0.0, 0.0), light, 1)
    )
    monkeypatch.setattr(f"{room}.with_pictures", lambda rows, _: rows)
    told = [target.target.place for target in digest_night(sweep).targets]
    assert told == [light.target.place for light in lights[-6:]]


@pytest.mark.parametrize("minute", [0, 15, 30, 45, 500])
def test_the_set_up_is_of_the_last_hour_with_light_to_see_by(minute: float) -> None:
    """With the Sun 4 deg up there are still shadows to turn the tripod by (common practice, no source). It sinks by
    10 deg an hour there, so that an hour later it is lower.
    """
    sky_over, dusk = Sky.over(NORTH), utc_date(2026, 11, 14, 21, 0)[0]
    setup = _checklist(sky_over, add_seconds((float(dusk[0]), float(dusk[1])), 60.0 * minute), None).setup
    hours = np.array([add_seconds(setup.utc, 3600.0 * hour) for hour in (0, 1)])
    then, later = sun_altitude_deg(hours, NORTH)
    assert then > 4.0 >= later


def test_a_damaged_file_is_said(sweep: Path) -> None:
    told(sweep)
    with (sweep / NIGHT_FILE).open("ab") as file:
        file.write(b"{torn")
    found = digest_night(sweep)
    assert next(notice.code for notice in found.notices) == "night-damaged"


def test_a_file_that_outlived_its_frames_still_tells(sweep: Path) -> None:
    told(sweep)
    for path in sweep.glob("*.fits"):
        path.unlink()
    found = digest_night(sweep)
    assert len(found.findings) == 1
    assert "no-frames" in [notice.code for notice in found.notices]
    assert all(row.path is None and row.picture is None for row in found.frames)


def test_nothing_to_tell_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no frame and no night's file"):
        digest_night(tmp_path)
    (tmp_path / NIGHT_FILE).write_bytes(b"{torn")
    with pytest.raises(InputError, match="no finding that can be read in its night's file"):
        digest_night(tmp_path)
    with pytest.raises(InputError, match="no folder"):
        digest_night(tmp_path / "missing")


def test_conditions_reach_the_measurement(tmp_path: Path) -> None:
    folder = shutil.copytree(
        SAMPLES / "north_sweep", tmp_path / "sweep", ignore=shutil.ignore_patterns(NIGHT_FILE)
    )
    airless = digest_night(folder, wish=DigestWish(conditions=Conditions(pressure_hpa=0.0)))
    assert airless.last.alignment.sky.air.pressure_hpa == 0.0


def rows_of(*groups: tuple[str, int, int]) -> list[FrameRow]:
    return [
        FrameRow(f"{part}{number}-{i:04d}", Path("x"), None, part, number or None, None)  # type: ignore[arg-type]
        for part, number, count in groups
        for i in range(count)
    ]


def test_pictures_are_few_and_of_every_group() -> None:
    rows = rows_of(("sweep", 1, 8), ("follow-up", 2, 1), ("target", 1, 500), ("none", 0, 300))
    chosen = _chosen(rows)
    assert len(chosen) == _MOST_PICTURES
    parts = [rows[i].part for i in chosen]
    assert parts.count("follow-up") == 1
    assert min(parts.count(part) for part in ("sweep", "target", "none")) >= 7


def test_more_groups_than_pictures() -> None:
    assert len(_chosen(rows_of(*(("follow-up", i, 1) for i in range(1, 60))))) == _MOST_PICTURES


def test_two_dozen_pictures_are_shown_and_a_hundred_warnings() -> None:
    """What a reader leafs through; with 14 kB a picture, what can be mailed (common practice, no source)."""
    assert len(_chosen(rows_of(("target", 1, 500)))) == 24
    warnings = [SimpleNamespace(code="x", text=str(k)) for k in range(150)]
    step: Any = SimpleNamespace(result=SimpleNamespace(warnings=warnings))
    assert [notice.text for notice in _notices(step)] == [str(k) for k in range(100)]
