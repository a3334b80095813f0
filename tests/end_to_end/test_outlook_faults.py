"""Bad and odd input to drift, exposure, map, timeline and stars: a clear word each, never a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from tests.commands import SAMPLES, refused, run, wrong

AT = ("--at", "2026-11-14T22:00:00")
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")
NORTH = ("--error", "6,-4", "--site", "47.3,11.2,900")
M31 = ("--target", "10.68,41.27")


@pytest.mark.parametrize("how", ["--guided", "--unguided"])
def test_target_below_the_horizon_is_refused(how: str) -> None:
    for command in (("exposure", *NORTH, *OPTICS, how), ("drift", *NORTH, "--for", "10min")):
        if command[0] == "drift" and how == "--guided":
            continue
        assert "below the horizon" in refused(*command, "--target", "10,-60", *AT)


def test_rising_and_setting_targets_are_worked_on() -> None:
    """M42 rises over Heron Ridge about then; M8 sets soon after dusk."""
    assert (
        run("exposure", *NORTH, *OPTICS, "--target", "83.8,-5.4", "--at", "2026-11-14T20:00:00").exit_code
        == 0
    )
    setting = run(
        "exposure", *NORTH, *OPTICS, "--target", "300,20", *AT, "--guided", "--tolerance", "900arcsec"
    )
    assert "until the target sets" in setting.stdout


@pytest.mark.parametrize("declination", ["90", "89.95", "89.0", "-90"])
@pytest.mark.parametrize("how", ["--guided", "--unguided"])
def test_polar_declinations_get_a_number_or_a_clear_word(declination: str, how: str) -> None:
    result = run("exposure", *NORTH, *OPTICS, "--target", f"10,{declination}", *AT, how)
    assert result.exit_code == (1 if declination == "-90" else 0), result.output


def test_zero_error_is_limited_by_refraction_or_not_at_all() -> None:
    zero = ("--error", "0,0", "--site", "47.3,11.2,900")
    assert "refraction" in run("exposure", *zero, *OPTICS, "--target", "110,20", *AT).stdout
    airless = run("exposure", *zero, *OPTICS, *M31, *AT, "--pressure", "0")
    assert "no limit" in airless.stdout
    assert run("drift", *zero, *M31, *AT, "--for", "10min").exit_code == 0
    assert run("map", *zero, *OPTICS, "--pressure", "0").exit_code == 0


def test_missing_optics_are_named() -> None:
    said = refused("exposure", *NORTH, *M31, *AT)
    assert all(option in said for option in ("--focal-length", "--pixel-size", "--sensor"))
    assert "--sensor" in refused("map", *NORTH, *OPTICS[:4])
    assert "--focal-length" not in refused("map", *NORTH, *OPTICS[:4])


def test_tolerance_below_the_seeing_brings_a_warning() -> None:
    result = run("exposure", *NORTH, *OPTICS, *M31, *AT, "--tolerance", "0.5arcsec", "--fwhm", "4arcsec")
    assert result.exit_code == 0
    assert "seeing" in result.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--tolerance", "0px"), "above 0"),
        (("--tolerance", "-1px"), "no tolerance"),
        (("--tolerance", "large"), "no tolerance"),
        (("--tolerance", "1.2elongation"), "--fwhm"),
        (("--tolerance", "0.9elongation", "--fwhm", "2px"), "above 1"),
        (("--fwhm", "wide"), "no tolerance"),
        (("--sensor", "0x0"), "no size"),
        (("--sensor", "big"), "no size"),
        (("--focal-length", "0"), "not within"),
        (("--pixel-size", "1e9"), "not within"),
        (("--camera-angle", "nan"), "not within"),
        (("--want", "0s"), "above 0"),
        (("--want", "7h"), "at most 6 h"),
        (("--want", "soon"), "duration"),
        (("--guide-offset", "1"), "two numbers"),
        (("--look", "star.gif"), ".png"),
        (("--rate", "fast"), "rate"),
    ],
)
def test_wrong_options_of_exposure(options: tuple[str, ...], words: str) -> None:
    extra = ("--fwhm", "2px") if "--look" in options else ()
    assert words in wrong("exposure", *NORTH, *OPTICS, *M31, *AT, *options, *extra)


def test_guide_star_too_far_away_is_refused() -> None:
    assert "45 deg" in refused("exposure", *NORTH, *OPTICS, *M31, *AT, "--guided", "--guide-offset", "50,0")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("drift", *NORTH, *AT, "--for", "10min"), "--target"),
        (("drift", *NORTH, *M31, "--for", "10min"), "--at"),
        (("drift", *NORTH, *M31, *AT), "--for"),
        (("drift", *NORTH, *M31, *AT, "--for", "0s"), "above 0"),
        (("drift", *NORTH, *M31, *AT, "--for", "-5min"), "above 0"),
        (("drift", *NORTH, *M31, *AT, "--for", "30h"), "at most 24 h"),
        (("drift", *NORTH, *M31, "--at", "soon", "--for", "1h"), "no time"),
        (("drift", *NORTH, "--target", "M1000", *AT, "--for", "1h"), "not in the catalogue"),
        (("drift", *NORTH, "--target", "\x1b[31mM31", *AT, "--for", "1h"), "no catalogue object"),
        (("drift", *NORTH, "--target", "400,10", *AT, "--for", "1h"), "not within"),
        (("drift", *NORTH, "--target", "", *AT, "--for", "1h"), "no target"),
        (("exposure", *NORTH, *OPTICS, *M31, *AT, "--targets", "x.txt"), "either"),
        (("measure", SAMPLES / "north_sweep", "--target", "M31"), "--pole target"),
        (("measure", SAMPLES / "north_sweep", "--pole", "target"), "--target"),
        (("correct", *NORTH, "--want", "5min"), "--target"),
    ],
)
def test_incomplete_command_lines(arguments: tuple[object, ...], words: str) -> None:
    assert words in wrong(*arguments)


def test_a_wanted_exposure_without_optics_says_what_the_rig_file_lacks() -> None:
    assert "focal_length_mm" in refused("correct", *NORTH, *M31, *AT, "--want", "5min")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no target"),
        (b"# nothing\n\n", "no target"),
        (b"zzz\nSun\n", "line 2"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"M31: 10.7\n", "line 1"),
        (b"10.7,41.3\n" * 10_001, "at most 10000"),
    ],
)
def test_bad_lists_of_targets(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "list.txt"
    path.write_bytes(content)
    assert words in refused("exposure", *NORTH, *OPTICS, *AT, "--targets", path)
    assert "cannot be read" in refused("exposure", *NORTH, *OPTICS, *AT, "--targets", tmp_path / "none.txt")


def test_bad_line_of_a_list_costs_that_line_only(tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    path.write_text("M31\nJupiter\nrosette\n", encoding="utf-8")
    result = run("exposure", *NORTH, *OPTICS, *AT, "--targets", path, "--json")
    said = json.loads(result.stdout)
    assert result.exit_code == 0
    assert [row["catalogue_name"] for row in said["targets"]] == [
        "M 31, NGC 224, Andromeda Galaxy",
        "NGC 2237, Rosette Nebula",
    ]
    assert [warning["code"] for warning in said["warnings"]] == ["target-unknown"]
    assert "line 2" in said["warnings"][0]["text"]


def test_no_alignment_or_two_are_refused() -> None:
    assert "--error" in refused("drift", *M31, *AT, "--for", "10min")
    assert "not both" in refused("drift", SAMPLES / "north_sweep", *NORTH, *M31, *AT, "--for", "10min")
    assert "site" in refused("drift", "--error", "1,2", *M31, *AT, "--for", "10min")


def test_nights_without_darkness_are_said_to_be_none() -> None:
    """Midsummer at 68 deg: the Sun does not set; at 55 deg it sinks to -11.6 deg only, at 50 deg to -16.6."""
    june = ("--at", "2026-06-21T23:00:00")
    optics = (*OPTICS, "--target", "280,60")
    for latitude in ("68", "55"):
        assert "no night" in refused(
            "timeline", "--error", "1,1", "--site", f"{latitude},11.2", *optics, *june
        )
    nautical = run("timeline", "--error", "1,1", "--site", "50,11.2", *optics, *june)
    assert "Sun below -12 deg" in nautical.stdout
    polar = run("timeline", "--error", "1,1", "--site", "-85,0", *OPTICS, "--target", "280,-60", *june)
    assert polar.exit_code in (0, 1)


def test_target_that_never_rises_has_no_timeline() -> None:
    assert "all night" in refused("timeline", *NORTH, *OPTICS, "--target", "10,-60", *AT)


@pytest.mark.parametrize("site", ["90,0", "-90,0", "0,0", "5,179.9"])
def test_extreme_sites_are_worked_on(site: str) -> None:
    for command in (
        ("map",),
        ("exposure", "--target", "10,0.5", *AT),
        ("drift", "--target", "10,1", "--for", "1h", *AT),
    ):
        optics = () if command[0] == "drift" else OPTICS
        assert run(*command[:1], "--error", "5,5", "--site", site, *optics, *command[1:]).exit_code in (0, 1)


def test_date_beyond_the_earth_rotation_table_is_worked_on() -> None:
    assert run("drift", *NORTH, *M31, "--at", "2049-11-14T22:00:00", "--for", "10min").exit_code == 0


def test_want_beyond_the_setting_is_refused() -> None:
    said = refused("exposure", *NORTH, *OPTICS, "--target", "300,20", *AT, "--guided", "--want", "6h")
    assert "sets" in said


def damaged(folder: Path) -> list[Path]:
    """Files that hold no stars, each in its own way."""
    good = sorted((SAMPLES / "north_sweep").glob("*.fits.fz"))[0].read_bytes()
    files = {
        "empty.fits": b"",
        "cut.fits.fz": good[: len(good) // 2],
        "text.fits": b"no FITS at all",
    }
    for name, content in files.items():
        (folder / name).write_bytes(content)
    fits.PrimaryHDU(np.zeros((5, 4), dtype=np.int16)).writeto(folder / "tiny.fits")
    fits.PrimaryHDU(np.zeros((6, 40, 50, 60), dtype=np.int16)[0]).writeto(folder / "cube.fits")
    fits.PrimaryHDU(np.full((64, 64), np.nan, dtype=np.float32)).writeto(folder / "nan.fits")
    fits.PrimaryHDU().writeto(folder / "bare.fits")
    (folder / "folder.fits").mkdir()
    return sorted(folder.iterdir())


def test_damaged_frames_are_listed_with_their_reason(tmp_path: Path) -> None:
    bad = damaged(tmp_path)
    result = run("stars", tmp_path)
    assert result.exit_code in (0, 1)
    good = SAMPLES / "north_sweep" / "north_sweep_01.fits.fz"
    mixed = run("stars", good, *bad)
    assert mixed.exit_code == 0
    assert "Not measured" in mixed.stdout
    assert "cut.fits.fz" in mixed.stdout


def test_nothing_to_measure_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.fits").write_bytes(b"")
    assert "no file" in refused("stars", tmp_path)
    assert "no file or folder" in refused("stars", tmp_path / "none")


def test_mutated_frames_never_end_in_a_traceback(tmp_path: Path) -> None:
    """Seeded random bytes in a real frame's headers and data."""
    good = bytearray((SAMPLES / "north_sweep" / "north_sweep_01.fits.fz").read_bytes())
    rng = np.random.default_rng(4)
    for i in range(25):
        bad = bytearray(good)
        for place in rng.integers(0, 12_000 if i % 2 else len(good), 12):
            bad[place] = int(rng.integers(0, 256))
        path = tmp_path / f"m{i}.fits.fz"
        path.write_bytes(bytes(bad))
        assert run("stars", path).exit_code in (0, 1)
