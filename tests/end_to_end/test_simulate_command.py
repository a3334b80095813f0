"""What ``polarcheck simulate`` refuses, and that a kept folder of practice frames is replaced as a whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands import refused, run, steering, strict_json, wrong

USUAL = {"--error": "23.4,-11.8", "--site": "47.3,11.2,900", "--at": "2026-11-14T21:10:00", "--frames": "2"}


def options(**changed: str) -> list[str]:
    """The usual ones, some changed."""
    named = {"--" + name.replace("_", "-"): value for name, value in changed.items()}
    return [f"{name}={value}" for name, value in (USUAL | named).items()]


@pytest.mark.parametrize(
    "changed",
    [
        {"error": "x"},
        {"error": "1,2,3"},
        {"error": "nan,0"},
        {"at": "yesterday"},
        {"at": "2026-11-14"},
        {"at": "2026-11-14T21:10:00+25:00"},
        {"frames": "0"},
        {"frames": "two"},
        {"seed": "-1"},
        {"angles": "1,x"},
        {"angles": "1,nan"},
        {"angles": "1e9"},
        {"pole": "magnetic"},
        {"site": "abc"},
    ],
    ids=str,
)
def test_wrong_option_is_a_wrong_command_line(changed: dict[str, str], tmp_path: Path) -> None:
    assert f"--{next(iter(changed))}" in wrong("simulate", tmp_path / "practice", *options(**changed))
    assert not (tmp_path / "practice").exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"error": "1e9,0"}, "is not possible here"),
        ({"error": "0,5400"}, "is not possible here"),
        ({"declination": "95"}, "declination 95 deg is not within -90 to 90"),
        ({"declination": "-80"}, "below 10; choose other axis angles"),
        ({"noise_px": "-1"}, "noise of -1 px"),
        ({"noise_px": "nan"}, "noise of nan px"),
        ({"at": "9999-12-31T23:59:59"}, "the time is not within 1960 to 2100"),
        ({"at": "0001-01-01T00:00:00"}, "the time is not within 1960 to 2100"),
        ({"rig": "gone.toml"}, "gone.toml: cannot be read"),
    ],
    ids=str,
)
def test_impossible_mount_is_refused(
    changed: dict[str, str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert said in refused("simulate", tmp_path / "practice", *options(**changed))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("rig", "said"),
    [
        (
            "[camera]\nwidth_px = 100000\nheight_px = 100000\npixel_size_um = 1\n[optics]\nfocal_length_mm = 5000\n",
            "is too large to write images of",
        ),
        ("[camera]\npixel_size_um = 10\n[optics]\nfocal_length_mm = 4\n", "the field below 90 deg"),
    ],
)
def test_impossible_camera_is_refused(rig: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(rig, encoding="utf-8")
    assert said in refused("simulate", tmp_path / "practice", *options(rig=str(tmp_path / "rig.toml")))


def test_place_that_cannot_be_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert "cannot be written" in refused("simulate", tmp_path / "file", *options())
    assert "cannot be written" in refused("simulate", tmp_path / "file" / "below", *options())


def test_year_beyond_the_leap_seconds_is_written_without_a_word(tmp_path: Path) -> None:
    result = run("simulate", tmp_path, *options(at="2059-11-14T21:10:00"))
    assert (result.exit_code, result.stderr) == (0, "")


def test_what_was_written_is_said_printable_and_replaces_an_earlier_practice(tmp_path: Path) -> None:
    folder = tmp_path / "practice\x1b[31m"
    assert "4 frames and truth.json written." in run("simulate", folder, *options(frames="4")).stdout
    (folder / "own.fits").write_text("mine")
    assert "own.fits" in refused("simulate", folder, *options(frames="1"))
    (folder / "own.fits").unlink()
    said = run("simulate", folder, *options(frames="1")).stdout
    assert said.startswith("1 frame and truth.json written.")
    assert not steering(said)
    assert sorted(p.name for p in folder.iterdir()) == ["simulated_01.fits.fz", "truth.json"]
    truth = strict_json((folder / "truth.json").read_text(encoding="utf-8"))
    assert (truth["error"]["azimuth_arcmin"], truth["error"]["altitude_arcmin"]) == (23.4, -11.8)


def test_practice_has_as_many_frames_as_the_docs_show(tmp_path: Path) -> None:
    docs = (Path(__file__).parents[2] / "docs" / "measure.md").read_text(encoding="utf-8")
    asked = [word for word in options() if not word.startswith("--frames")]
    begin = run("simulate", tmp_path / "practice", *asked).stdout.splitlines()[0]
    assert f"--at {USUAL['--at']}\n{begin}\n" in docs
