"""`polarcheck report`: the page is written safely, its JSON is as described, faults are told."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from polarcheck.night import NIGHT_FILE
from tests.commands import answered, change, frames, refused, run, steering, wrong
from tests.end_to_end.test_schemas import hold
from tests.mutations import spoiled_json
from tests.told_nights import told_night


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return told_night(tmp_path_factory.mktemp("told") / "evening")


def test_a_night_becomes_one_page(evening: Path, tmp_path: Path) -> None:
    page = tmp_path / "night.html"
    made = run("report", evening, "--target", "M31", "--target", "83.82,-5.39", "--out", page)
    assert made.exit_code == 0, made.output
    assert re.search(r"3 findings \(from the night's file\)", " ".join(made.stdout.split()))
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert "M31" in text
    assert "Orion" not in text
    assert page.stat().st_size < 1_000_000


def test_its_numbers_are_those_of_the_night(evening: Path) -> None:
    answer, _ = answered("report", evening, "--target", "M31", "--at", "2026-11-14T22:00:00")
    hold(answer, "report")
    asked = answer["targets"][0]
    exposure, _ = answered(
        *("exposure", "--error", _said(answer), "--site", "47.3,11.2,900", "--target", "M31"),
        *("--at", "2026-11-14T22:00:00", "--rig", evening / "rig.toml", "--unguided"),
    )
    assert asked["unguided"]["limit_s"] == pytest.approx(exposure["limit_s"], rel=0.01)
    assert asked["start_utc"].startswith("2026-11-14T22:00:00")


def _said(answer: dict) -> str:  # type: ignore[type-arg]
    error = answer["findings"][-1]["error"]
    return f"{error['azimuth_arcmin']},{error['altitude_arcmin']}"


def test_frames_without_a_night_file_are_measured_and_none_is_written(tmp_path: Path) -> None:
    frames(tmp_path / "sweep", count=4)
    measured, _ = answered("measure", tmp_path / "sweep")
    (tmp_path / "sweep" / NIGHT_FILE).unlink(missing_ok=True)
    answer, _ = answered("report", tmp_path / "sweep", "--out", tmp_path / "night.html")
    hold(answer, "report")
    assert answer["source"] == "frames"
    assert answer["findings"][0]["error"] == pytest.approx(measured["error"], abs=1e-6)
    assert not (tmp_path / "sweep" / NIGHT_FILE).exists()


def test_pixels_that_cannot_be_read_are_said_as_unknown(tmp_path: Path) -> None:
    paths = frames(tmp_path, count=4)
    content = paths[1].read_bytes()
    paths[1].write_bytes(content[: len(content) - 8000])  # the header and its solution stay whole
    answer, _ = answered("report", tmp_path, "--out", tmp_path / "night.html")
    (spoiled,) = [frame for frame in answer["frames"] if frame["file"] == paths[1].name]
    page = (tmp_path / "night.html").read_text(encoding="utf-8")
    assert spoiled["stars"] is None
    assert spoiled["stars_reason"]
    assert "stars unknown" in page
    assert "no picture" in page
    assert page.count("<img") == 3


def test_a_damaged_night_is_told_on_the_page(tmp_path: Path) -> None:
    folder = told_night(tmp_path / "evening", turns=1)
    with (folder / NIGHT_FILE).open("ab") as file:
        file.write(b'{"schema": "polarcheck.event/1", "ev')
    made = run("report", folder, "--out", tmp_path / "night.html")
    assert made.exit_code == 0
    assert "cannot be read" in (tmp_path / "night.html").read_text(encoding="utf-8")
    assert "cannot be read" in " ".join(made.stderr.split())


def test_header_text_is_escaped(tmp_path: Path) -> None:
    """A site's and a file's name reach the page; neither may make an element."""
    paths = frames(tmp_path, count=3)
    for path in paths:
        change(path, OBJECT="<script>alert(1)</script>")
    paths[0].rename(tmp_path / "<img src=x onerror=alert(1)>&amp;.fits")
    assert run("report", tmp_path, "--out", tmp_path / "night.html").exit_code == 0
    page = (tmp_path / "night.html").read_text(encoding="utf-8")
    assert "<img src=x" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;&amp;amp;.fits" in page


def test_what_polarcheck_did_not_make_stays(evening: Path, tmp_path: Path) -> None:
    page = tmp_path / "mine.html"
    page.write_text("<!DOCTYPE html><p>mine</p>", encoding="utf-8")
    assert "was left as it is" in refused("report", evening, "--out", page)
    assert page.read_text(encoding="utf-8") == "<!DOCTYPE html><p>mine</p>"
    assert run("report", evening, "--out", page, "--force").exit_code == 0
    assert run("report", evening, "--out", page).exit_code == 0


def test_wrong_command_lines(evening: Path, tmp_path: Path) -> None:
    assert "--out" in wrong("report", evening)
    assert ".html" in wrong("report", evening, "--out", tmp_path / "night.pdf")
    assert "--target" in wrong("report", evening, "--target", "nowhere at all", "--out", tmp_path / "n.html")
    assert "--at" in wrong("report", evening, "--at", "soon", "--out", tmp_path / "n.html")


def test_faults_of_the_folder_are_told(tmp_path: Path) -> None:
    page = tmp_path / "night.html"
    assert "there is no folder" in refused("report", tmp_path / "missing", "--out", page)
    assert "nothing to tell" in refused("report", tmp_path, "--out", page)
    frames(tmp_path / "one", count=1)
    refused("report", tmp_path / "one", "--out", page)
    assert not page.exists()


def test_spoiled_nights_end_in_plain_words(evening: Path, tmp_path: Path) -> None:
    """Hostile values in the night's file: a page without what could not be read, or one reason why there is none."""
    lines = (evening / NIGHT_FILE).read_text(encoding="utf-8").splitlines()
    page, codes = tmp_path / "night.html", []
    for seed in range(40):
        rng = np.random.default_rng([7, seed])
        spoiled = [spoiled_json(line, rng) if rng.random() < 0.4 else line for line in lines]
        (tmp_path / NIGHT_FILE).write_text("\n".join(spoiled) + "\n", encoding="utf-8", errors="replace")
        made = run("report", tmp_path, "--out", page)
        codes.append(made.exit_code)
        if made.exit_code == 0:
            text = page.read_text(encoding="utf-8")
            assert steering(text) == set()
            assert len(text) < 1_000_000
    assert set(codes) <= {0, 1}
    assert codes.count(0) > 10
