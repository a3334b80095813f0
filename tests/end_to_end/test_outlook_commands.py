"""drift, exposure, map, timeline and stars as they are typed: keys, pictures, words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck import Optics, Outlook, find_target, measure
from polarcheck.times import utc_from_iso
from tests.commands import SAMPLES, run, steering

AT = "2026-11-14T22:00:00"
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")
GIVEN = ("--error", "-23.4,11.8", "--site", "-31.4,20.6,1200")
SOUTHERN = "20.0,-45.0"
RIG = """
[optics]
focal_length_mm = 250
[camera]
pixel_size_um = 6.0
width_px = 1200
height_px = 900
[guiding]
offset_deg = [0.5, 0.2]
[mount]
periodic_error_arcsec = 12.0
worm_period_s = 480.0
"""


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rig") / "demo.toml"
    path.write_text(RIG, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "result.json"
    run("measure", SAMPLES / "after_correction", "--out", path)
    return path


def answer(*arguments: object) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output

    def no_constant(name: str) -> None:
        raise AssertionError(f"{name} is no strict JSON")

    return json.loads(result.stdout, parse_constant=no_constant)


def text(*arguments: object) -> str:
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    assert max(map(len, (result.stdout + result.stderr).splitlines())) <= 80
    return result.stdout


@pytest.mark.parametrize("duration", ["90s", "10min", "1.5h"])
def test_drift_keeps_its_keys(kept: Path, duration: str) -> None:
    got = answer("drift", kept, "--target", "M31", "--at", AT, "--for", duration)
    seconds = {"90s": 90.0, "10min": 600.0, "1.5h": 5400.0}[duration]
    assert got["schema"] == "polarcheck.drift/1"
    assert set(got["rates"]) == {"east_arcsec_per_min", "north_arcsec_per_min", "rotation_arcsec_per_min"}
    track = got["track"]
    assert (track[0]["t_s"], track[-1]["t_s"]) == (0.0, pytest.approx(seconds))
    assert [track[0][key] for key in ("east_arcsec", "north_arcsec", "rotation_arcsec")] == pytest.approx(
        [0] * 3, abs=1e-6
    )
    parts = [
        [part[key] for key in ("east_arcsec", "north_arcsec", "rotation_arcsec")]
        for part in got["causes"].values()
    ]
    whole = [track[-1][key] for key in ("east_arcsec", "north_arcsec", "rotation_arcsec")]
    assert np.sum(parts, axis=0) == pytest.approx(whole, abs=1e-6)
    assert got["end_sigma"]["east_arcsec"] > 0


def test_exposure_keeps_its_keys(kept: Path, rig: Path) -> None:
    for how in ("--guided", "--unguided"):
        got = answer("exposure", kept, "--rig", rig, "--target", "M31", "--at", AT, how, "--want", "5min")
        assert got["schema"] == "polarcheck.exposure/1"
        assert got["guided"] is (how == "--guided")
        assert got["tolerance_arcsec"] == pytest.approx(206.264806 * 6 / 250, rel=1e-6)
        assert got["limited_by"] in {"drift", "rotation", "refraction", "periodic error", "6 h", "sets"}
        assert 0 < got["limit_s_95"] <= got["limit_s"]
        assert got["required"]["total_arcmin"] >= 0


def test_alignment_may_be_frames_a_result_or_two_numbers(kept: Path) -> None:
    ends = []
    for alignment in ((SAMPLES / "after_correction",), (kept,)):
        got = answer("drift", *alignment, "--target", "M31", "--at", AT, "--for", "10min")
        ends.append(got["track"][-1]["north_arcsec"])
    assert ends[0] == pytest.approx(ends[1], abs=1e-6)
    said = answer("drift", *GIVEN, "--target", SOUTHERN, "--at", AT, "--for", "10min")
    assert said["error"]["azimuth_arcmin"] == pytest.approx(-23.4)
    assert said["end_sigma"] is None
    assert answer("exposure", *GIVEN, *OPTICS, "--target", SOUTHERN, "--at", AT)["limit_s_95"] is None


def test_name_and_place_of_a_target_are_the_same(kept: Path) -> None:
    """M31 stands at 0h42m44.3s +41d16'09" (J2000, from memory); within the drift's digits."""
    by_name, by_place = (
        answer("drift", kept, "--target", target, "--at", AT, "--for", "10min")["track"][-1]["east_arcsec"]
        for target in ("M31", "0h42m44.3s,+41:16:09")
    )
    assert by_name == pytest.approx(by_place, abs=0.01)
    assert find_target("NGC 224").ra_deg == pytest.approx(find_target("Andromeda Galaxy").ra_deg)


def test_library_gives_the_same(kept: Path) -> None:
    found = measure(SAMPLES / "after_correction").alignment
    optics, target = Optics(206.264806 * 6 / 250, 1200, 900), find_target("M31")
    limit = Outlook(found, optics, 2.0, guided=True).exposure(target.place, utc_from_iso(AT))
    got = answer(
        "exposure", kept, *OPTICS, "--target", "M31", "--at", AT, "--guided", "--tolerance", "2arcsec"
    )
    assert got["limit_s"] == pytest.approx(limit.limit_s, rel=1e-6)
    assert got["limit_s_95"] == pytest.approx(limit.limit_s_95, rel=1e-6)


def test_texts_say_what_matters(kept: Path, rig: Path) -> None:
    assert "azimuth error" in text("drift", kept, "--target", "M31", "--at", AT, "--for", "10min")
    assert "tracking rate" in text(
        "drift", kept, "--target", "M31", "--at", AT, "--for", "10min", "--rate", "solar"
    )
    shown = text("exposure", kept, "--rig", rig, "--target", "M31", "--at", AT, "--want", "5min", "--guided")
    assert "longest exposure" in shown
    assert "Wanted: 5 min" in shown
    assert "hour angle" in text("map", kept, "--rig", rig)
    assert "meridian" in text("timeline", kept, "--rig", rig, "--target", "M31", "--at", AT)
    assert "elongation" in text("stars", SAMPLES / "south_sweep")


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_pictures_are_written(kept: Path, rig: Path, tmp_path: Path, ending: str) -> None:
    when = ("--target", "M31", "--at", AT)
    commands = {
        "drift": ("drift", kept, *when, "--for", "1h", "--plot"),
        "map": ("map", kept, "--rig", rig, "--plot"),
        "timeline": ("timeline", kept, "--rig", rig, *when, "--plot"),
        "look": ("exposure", kept, "--rig", rig, *when, "--fwhm", "9arcsec", "--look"),
        "stars": ("stars", SAMPLES / "south_sweep", "--plot"),
    }
    for name, command in commands.items():
        path = tmp_path / f"{name}.{ending}"
        text(*command, path)
        head = path.read_bytes()[:400]
        assert (b"PNG" if ending == "png" else b"<svg") in head or b"svg" in head
        assert path.stat().st_size > 5000


def test_list_of_targets(kept: Path, rig: Path, tmp_path: Path) -> None:
    targets = tmp_path / "tonight.txt"
    targets.write_text("# tonight\nM31\nNGC 7000  # north\n\nA field: 83.8,-5.4\nM 8\n", encoding="utf-8")
    got = answer("exposure", kept, "--rig", rig, "--targets", targets, "--at", AT)
    assert [row["name"] for row in got["targets"]] == ["M31", "NGC 7000", "A field", "M 8"]
    assert "below the horizon" in got["targets"][3]["reason"]
    alone = answer("exposure", kept, "--rig", rig, "--target", "M31", "--at", AT)
    assert got["targets"][0]["limit_s"] == pytest.approx(alone["limit_s"])
    assert "below the horizon" in text("exposure", kept, "--rig", rig, "--targets", targets, "--at", AT)


def test_hostile_names_reach_no_terminal_and_no_page(kept: Path, rig: Path, tmp_path: Path) -> None:
    targets = tmp_path / "evil.txt"
    targets.write_text("\x1b[31m<script>\u202e: 10.7,41.3\n", encoding="utf-8")
    shown = run("exposure", kept, "--rig", rig, "--targets", targets, "--at", AT)
    assert shown.exit_code == 0
    got = answer("exposure", kept, "--rig", rig, "--targets", targets, "--at", AT)
    assert not steering(got["targets"][0]["name"])


def test_map_and_timeline_keep_their_keys(kept: Path, rig: Path) -> None:
    sky = answer("map", kept, "--rig", rig, "--guided")
    assert np.shape(sky["limit_s"]) == (len(sky["declination_deg"]), len(sky["hour_angle_deg"]))
    line = answer("timeline", kept, "--rig", rig, "--target", "M31", "--at", AT)
    assert line["dusk_utc"] < AT < line["dawn_utc"]
    assert line["rows"][0]["utc"][:16] == line["dusk_utc"][:16]
    assert 0 <= line["moon_lit"] <= 1
    alone = answer("exposure", kept, "--rig", rig, "--target", "M31", "--at", line["rows"][8]["utc"])
    assert line["rows"][8]["limit_s"] == pytest.approx(alone["limit_s"], rel=0.03)


def test_sun_stands_18_degrees_low_at_dusk_and_dawn(kept: Path, rig: Path) -> None:
    """By astropy (get_sun, AltAz without air); 0.1 deg: dusk is read between samples five minutes apart."""
    import astropy.units as u
    from astropy.coordinates import AltAz, EarthLocation, get_body, get_sun
    from astropy.time import Time

    line = answer("timeline", kept, "--rig", rig, "--target", "M31", "--at", AT)
    site = line["site"]
    place = EarthLocation.from_geodetic(
        site["longitude_deg"] * u.deg, site["latitude_deg"] * u.deg, site["height_m"] * u.m
    )
    for key in ("dusk_utc", "dawn_utc"):
        when = Time(line[key].rstrip("Z"), scale="utc")
        assert get_sun(when).transform_to(AltAz(obstime=when, location=place)).alt.deg == pytest.approx(
            -18.0, abs=0.1
        )
    row = line["rows"][2]
    when = Time(row["utc"].rstrip("Z"), scale="utc")
    moon = get_body("moon", when, place).transform_to(AltAz(obstime=when, location=place))
    assert row["moon_altitude_deg"] == pytest.approx(float(moon.alt.deg), abs=0.1)


def test_aim_at_a_target_serves_measure_and_correct(kept: Path, tmp_path: Path) -> None:
    aim = ("--pole", "target", "--target", "M31", "--at", AT, "--for", "2h")
    out = tmp_path / "aimed.json"
    got = answer("measure", SAMPLES / "after_correction", *aim, "--out", out)
    assert got["pole"]["kind"] == "target"
    assert any(warning["code"] == "target-aim" for warning in got["warnings"])
    pole = answer("measure", SAMPLES / "after_correction")["pole"]
    assert 0.05 < 60 * abs(got["pole"]["altitude_deg"] - pole["altitude_deg"]) < 5
    moves = {move["knob"]: move["move_arcmin"] for move in answer("correct", kept, *aim)["moves"]}
    assert moves["azimuth"] == pytest.approx(-got["error"]["azimuth_arcmin"], abs=1e-6)
    again = {move["knob"]: move["move_arcmin"] for move in answer("correct", out)["moves"]}
    assert again == pytest.approx(moves, abs=1e-6)
    edge = answer("correct", kept, "--pole", "target", "--target", "M42", "--at", AT, "--for", "1h")
    assert edge["moves"]


def test_wanted_exposure_says_when_to_stop(kept: Path, rig: Path) -> None:
    short = answer(
        "correct", kept, "--rig", rig, "--target", "M31", "--at", AT, "--want", "60s", "--tolerance", "2px"
    )
    assert short["worth_turning"] is False
    assert (short["next"]["reason"], short["goal"]["source"]) == ("near enough", "target")
    assert "the target's exposure allows" in short["why"]


def test_size_of_stars_may_be_measured_on_the_frames(kept: Path, rig: Path) -> None:
    """As `stars` has it; the tolerance follows from it by second moments, FWHM / 2.3548 x sqrt(12 (1.2^2 - 1))."""
    frames, when = SAMPLES / "after_correction", ("--target", "M31", "--at", AT)
    got = answer(
        "exposure", frames, "--rig", rig, *when, "--tolerance", "1.2elongation", "--fwhm", "measured"
    )
    sizes = [entry["fwhm_arcsec"] for entry in answer("stars", frames)["frames"]]
    expected = np.median(sizes) / 2.354820 * np.sqrt(12 * (1.2**2 - 1))
    assert got["tolerance_arcsec"] == pytest.approx(expected, rel=1e-6)
    refusal = run("exposure", kept, "--rig", rig, *when, "--fwhm", "measured")
    assert refusal.exit_code == 1
    assert "frames themselves" in " ".join(refusal.stderr.split())
