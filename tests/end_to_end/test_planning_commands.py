"""rough and plan as they are typed: the keys that others rely on, words, pictures, and what cannot be had."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from polarcheck import report
from tests.commands import refused, run, steering, wrong

AT = ("--at", "2026-11-14T20:00:00")
NORTH, SOUTH = ("--site", "47.3,11.2,900"), ("--site=-31.4,20.6,1200",)


@pytest.fixture(autouse=True)
def nowhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No rig file is found by chance."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "none"))


def answer(*arguments: object) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.mark.parametrize("site", [NORTH, SOUTH])
def test_rough_has_the_keys_that_others_rely_on(site: tuple[str, ...]) -> None:
    found = answer("rough", *site, *AT)
    assert found["schema"] == "polarcheck.rough/1"
    assert found["latitude_dial_deg"] == pytest.approx(abs(found["site"]["latitude_deg"]))
    assert found["pole_altitude_deg"] > found["latitude_dial_deg"]
    toward = 0 if site is NORTH else 180
    assert found["compass_bearing_deg"] == pytest.approx((toward - found["magnetic_declination_deg"]) % 360)
    assert found["sun"].keys() >= {"azimuth_deg", "altitude_deg", "shadow_azimuth_deg"}
    assert found["sun"]["shadow_azimuth_deg"] is None  # it is down
    assert found["pole_star"].keys() >= {
        "name",
        "hour_angle_h",
        "distance_arcmin",
        "azimuth_offset_arcmin",
        "altitude_offset_arcmin",
        "clock_naked_eye",
        "clock_inverted",
    }
    assert found["pole_star"]["name"] == ("Polaris" if site is NORTH else "sigma Octantis")


def test_shadow_points_away_from_the_sun() -> None:
    sun = answer("rough", *NORTH, "--at", "2026-11-14T13:00:00")["sun"]
    assert sun["shadow_azimuth_deg"] == pytest.approx((sun["azimuth_deg"] + 180) % 360)


@pytest.mark.parametrize("site", [NORTH, SOUTH])
def test_plan_has_the_keys_that_others_rely_on(site: tuple[str, ...]) -> None:
    found = answer("plan", *site, *AT, "--declination", "60" if site is NORTH else "-60", "--frames", 4)
    assert found["schema"] == "polarcheck.plan/1"
    assert len(found["positions"]) == 4
    for position in found["positions"]:
        assert position.keys() >= {"axis_angle_deg", "declination_deg", "azimuth_deg", "altitude_deg"}
        assert abs(position["axis_angle_deg"]) <= 180
        assert abs(position["declination_deg"]) == pytest.approx(60)
    assert found["expected"]["azimuth_sigma_arcmin"] <= found["obvious"]["azimuth_sigma_arcmin"]
    assert found["expected"]["altitude_sigma_arcmin"] <= found["obvious"]["altitude_sigma_arcmin"]


def test_planned_frames_can_be_simulated_and_measured(tmp_path: Path) -> None:
    plan = answer("plan", *NORTH, *AT, "--frames", 4)
    angles = ",".join(f"{position['axis_angle_deg']:g}" for position in plan["positions"])
    error = ("--error", "12,-7", "--declination", plan["positions"][0]["declination_deg"])
    done = run("simulate", tmp_path / "sweep", *error, f"--angles={angles}", *NORTH, *AT)
    assert done.exit_code == 0, done.output
    found = answer("measure", tmp_path / "sweep")["error"]
    # ten sigma of the plan
    assert found["azimuth_arcmin"] == pytest.approx(12, abs=10 * plan["expected"]["azimuth_sigma_arcmin"])
    assert found["altitude_arcmin"] == pytest.approx(-7, abs=10 * plan["expected"]["altitude_sigma_arcmin"])


def test_measure_names_the_next_frame_as_a_turn(tmp_path: Path) -> None:
    error = ("--error", "12,-7", "--declination", 40, "--angles=10,13,16")
    run("simulate", tmp_path / "sweep", *error, *NORTH, *AT)
    shown = run("measure", tmp_path / "sweep")
    assert "turn the mount" in " ".join(shown.stdout.split())
    step = answer("measure", tmp_path / "sweep")["next_frame"]
    assert step["altitude_deg"] > 15
    (tmp_path / "sweep" / "rig.toml").write_text(
        "[mount.limits]\naxis_angle_deg = [0, 60]\n", encoding="utf-8"
    )
    limited = answer("measure", tmp_path / "sweep")["next_frame"]
    assert limited["axis_angle_deg"] < 61
    assert 16 + limited["turn_deg"] < 61 < 16 + step["turn_deg"]


EVERYWHERE = [
    ("rough", *NORTH, *AT),
    ("rough", *SOUTH, "--at", "2026-11-14T12:00:00"),
    ("rough", "--site", "89.9999,0", *AT),
    ("rough", "--site", "0,180", *AT),
    ("rough", "--site=-90,0", *AT),
    ("rough", "--site", "70,-180", "--at", "2026-06-21T00:00:00"),
    ("rough", *NORTH, "--at", "1995-01-01T00:00:00"),
    ("rough", *NORTH, "--at", "2035-01-01T00:00:00"),
    ("rough", *NORTH, *AT, "--checklist"),
    ("rough", *SOUTH, *AT, "--checklist", "--finder", "none"),
    ("plan", *NORTH, *AT),
    ("plan", *SOUTH, *AT, "--frames", "3"),
    ("plan", *NORTH, *AT, "--view", "120,240,20,60"),
    ("plan", *NORTH, *AT, "--tracked"),
    ("plan", "--site", "90,0", *AT),
    ("plan", "--site", "0,0", *AT, "--tracked", "--view", "60,120"),
]


@pytest.mark.parametrize("arguments", EVERYWHERE, ids=" ".join)
def test_text_fits_eighty_columns_everywhere_on_earth(arguments: tuple[str, ...]) -> None:
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.stdout.splitlines()) <= 79
    assert not steering(result.stdout)
    assert "nan" not in result.stdout.lower().split()
    assert "inf" not in result.stdout.lower().split()


@pytest.mark.parametrize(
    ("site", "time"),
    [(NORTH, AT[1]), (SOUTH, AT[1]), (("--site", "90,0"), AT[1]), (("--site", "0.1,10"), AT[1])],
)
@pytest.mark.parametrize("ending", ["png", "svg"])
def test_picture_is_drawn(tmp_path: Path, site: tuple[str, ...], time: str, ending: str) -> None:
    path = tmp_path / f"pole.{ending}"
    result = run("rough", *site, "--at", time, "--plot", path)
    assert result.exit_code == 0, result.output
    assert path.stat().st_size > 5000


def test_plan_of_the_docs_is_had_without_a_word_about_frames_and_goal() -> None:
    """docs/plan.md: five frames, so that a wrong one stands against a majority; tracked, an error of 1 arcmin."""
    docs = (Path(__file__).parents[2] / "docs" / "plan.md").read_text(encoding="utf-8")
    begin = run("plan", *NORTH, *AT).stdout.split(" over ")[0]
    assert f"{begin} over 180 deg" in docs
    assert (
        f"`--goal ARCMIN` ({answer('plan', '--tracked', *NORTH, *AT)['goal_arcmin']:g} unless given)" in docs
    )


def test_picture_holds_the_stars_by_which_the_faint_pole_star_is_known(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Of those around sigma Octantis chi stands farthest from the pole, at declination -87.6 (from memory)."""
    shown: list[float] = []
    monkeypatch.setattr(report, "save_pole_picture", lambda _field, _setup, width, _path: shown.append(width))
    assert run("rough", *SOUTH, *AT, "--plot", tmp_path / "pole.png").exit_code == 0
    assert 2.4 < shown[0] / 2 < 4.0


def test_date_outside_the_magnetic_model_is_said() -> None:
    result = run("rough", *NORTH, "--at", "2031-01-01T00:00:00")
    assert "unknown: no magnetic model for that date" in result.stdout
    assert "2010 to 2030" in " ".join(result.stderr.split())
    found = answer("rough", *NORTH, "--at", "2031-01-01T00:00:00")
    assert found["magnetic_declination_deg"] is None
    assert found["compass_bearing_deg"] is None
    assert "magnetic-model-dates" in {warning["code"] for warning in found["warnings"]}


def test_site_may_come_from_the_rig_file(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(
        "[site]\nlatitude_deg = -31.4\nlongitude_deg = 20.6\n", encoding="utf-8"
    )
    assert answer("rough", *AT)["site"]["latitude_deg"] == -31.4
    assert answer("plan", *AT)["site"]["latitude_deg"] == -31.4


def test_now_is_the_time_unless_given() -> None:
    assert answer("rough", *NORTH)["time_utc"] > "2026-"


@pytest.mark.parametrize("command", ["rough", "plan"])
def test_missing_site_is_told(command: str) -> None:
    assert "no site" in refused(command, *AT)
    assert "--site" in refused(command, *AT)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("rough", "--site", "95,0"), "latitude 95"),
        (("rough", *NORTH, "--at", "yesterday"), "is no time; write 20:30"),
        (("rough", *NORTH, *AT, "--plot", "pole.gif"), "must end in .png or .svg"),
        (("rough", *NORTH, *AT, "--checklist", "--json"), "leave out --json"),
        (("rough", *NORTH, *AT, "--finder", "round"), "--finder"),
        (("plan", *NORTH, *AT, "--frames", "1"), "--frames"),
        (("plan", *NORTH, *AT, "--declination", "91"), "--declination"),
        (("plan", *NORTH, *AT, "--view", "south"), "120,240"),
        (("plan", *NORTH, *AT, "--view", "10,20,30"), "120,240"),
        (("plan", *NORTH, *AT, "--view", "10,20,60,30"), "lower first"),
        (("plan", *NORTH, *AT, "--view", "10,nan"), "120,240"),
    ],
)
def test_wrong_command_lines_are_told(arguments: tuple[str, ...], told: str) -> None:
    assert told in wrong(*arguments)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("plan", *NORTH, *AT, "--declination", "-70"), "nothing at declination -70"),
        (("plan", *NORTH, *AT, "--view", "0,1,80,81"), "in reach"),
        (("plan", *NORTH, *AT, "--tracked", "--view", "0,1,80,81"), "quarter of an hour"),
        (("plan", *NORTH, *AT, "--rig", "none.toml"), "none.toml"),
        (("rough", *NORTH, *AT, "--plot", "nowhere/pole.png"), "there is no folder"),
    ],
)
def test_what_cannot_be_had_is_told(arguments: tuple[str, ...], told: str) -> None:
    assert told in refused(*arguments)


def test_map_and_timeline_know_the_horizon(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text(
        "[optics]\nfocal_length_mm = 250\n[camera]\npixel_size_um = 6.0\nwidth_px = 1200\nheight_px = 900\n"
        "[site]\nlatitude_deg = 47.3\nlongitude_deg = 11.2\n"
        "horizon = [[0, 0], [100, 0], [100, 50], [220, 50], [220, 0]]\n",
        encoding="utf-8",
    )
    given = ("--error", "5,-3", "--rig", rig)
    night = ("timeline", *given, "--target", "60,10", *AT)
    rows = answer(*night)["rows"]
    assert {row["is_hidden"] for row in rows} == {True, False}
    assert all(row["limit_s"] is None for row in rows if row["is_hidden"])
    shown = run(*night, "--plot", tmp_path / "night.png")
    assert "above 5 deg and the rig file's horizon" in " ".join(shown.stdout.split())
    assert "behind the rig file's horizon" in " ".join(run("map", *given).stdout.split())
