"""The answer as text and as JSON, from results whose numbers are set by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polarcheck import Measurement, measure
from polarcheck.alignment.state import Alignment
from polarcheck.errors import Notice
from polarcheck.measurement.verdicts import FrameEntry
from polarcheck.report import json_text, measurement_object, measurement_text, notice_text
from tests.commands import SAMPLES, frames, strict_json

ARCMIN = np.pi / 180 / 60


@pytest.fixture(scope="module")
def sweep() -> Measurement:
    return measure(SAMPLES / "north_sweep")


def columns(text: str) -> int:
    """Columns on a terminal: of these tests' characters one is wide and one combines (Unicode Annex 11)."""
    return len(text) + text.count("帧") - text.count("\u0301")


def shown(result: Measurement) -> str:
    text = measurement_text(result)
    assert max(map(columns, text.splitlines())) < 80
    assert not re.search(r"[^\S\n ]|\x1b", text)
    return text


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


# numbers that follow from others by hand


def test_drift_is_the_total_error_times_the_sidereal_rate(sweep: Measurement) -> None:
    """A star a quarter turn from the plane of both axes drifts by error x rate: 2 pi in 86164.1 s."""
    rate_per_min = 2 * np.pi / 86164.0905 * 60
    arcsec = sweep.error.total_arcmin * 60 * rate_per_min
    assert arcsec == pytest.approx(5.196, abs=1e-3)
    assert f"drifts by up to {arcsec:.1f} arcsec a minute" in flat(shown(sweep))


def test_degree_of_longitude_turns_the_error_by_a_degree(sweep: Measurement) -> None:
    """The whole sky turns about the pole, and the error with it: 1 deg of 19.8 arcmin is 0.35 arcmin."""
    cost = sweep.error.total_arcmin * np.pi / 180
    assert cost == pytest.approx(0.3455, abs=1e-3)
    assert f"A longitude off by 1 deg (or a clock by 4 min) would turn the result by {cost:.2f}" in flat(
        shown(sweep)
    )


@pytest.mark.parametrize(
    ("ra_deg", "dec_deg", "place"),
    # by hand: 15 deg an hour, 15 arcmin a minute of right ascension
    [
        (0.0, 0.0, "RA 00h00m00s, Dec +00d00'00\""),
        (187.5, 89.5, "RA 12h30m00s, Dec +89d30'00\""),
        (15.0042, -89.99, "RA 01h00m01s, Dec -89d59'24\""),
        (359.9999, -0.0001, "RA 00h00m00s, Dec -00d00'00\""),
        (179.99999, 59.99999, "RA 12h00m00s, Dec +60d00'00\""),
    ],
)
def test_place_of_the_axis_never_shows_sixty(
    ra_deg: float, dec_deg: float, place: str, sweep: Measurement, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Measurement, "axis_icrs_deg", (ra_deg, dec_deg))
    assert f"The axis stands at {place} (ICRS)." in flat(shown(sweep))


def test_digits_stop_where_sigma_does(sweep: Measurement, monkeypatch: pytest.MonkeyPatch) -> None:
    error = replace(
        sweep.error,
        azimuth_arcmin=-23.39712,
        azimuth_sigma_arcmin=0.28,
        azimuth_95_arcmin=0.61,
        altitude_arcmin=9.0,
    )
    monkeypatch.setattr(Alignment, "error", error)
    text = shown(sweep)
    assert re.search(r"azimuth +23\.40 +± 0\.28 +0\.28 +0\.61 +0\.15 +too far west", text)
    assert re.search(r"altitude .*too high", text)
    assert "swing the axis 23.4 arcmin east (right, facing the pole) and lower it by 9.0" in flat(text)


@pytest.mark.parametrize(
    ("azimuth", "altitude", "advice"),
    [
        (
            5.0,
            -5.0,
            "swing the axis 5.0 arcmin west (left, facing the pole) and raise it by 5.0 arcmin, hold",
        ),
        (5.0, -1.0, "swing the axis 5.0 arcmin west (left, facing the pole), hold"),
        (-1.0, 5.0, "Next: lower the axis by 5.0 arcmin, hold"),
        (1.0, 1.0, "nothing to turn by this answer: both errors lie within what noise (95 %) and sag allow"),
    ],
)
def test_no_knob_is_turned_for_an_error_within_its_uncertainty(
    azimuth: float, altitude: float, advice: str, sweep: Measurement, monkeypatch: pytest.MonkeyPatch
) -> None:
    loose = {"azimuth_sigma_arcmin": 0.6, "altitude_sigma_arcmin": 0.6}
    wide = {"azimuth_95_arcmin": 2.0, "altitude_95_arcmin": 2.0}
    error = replace(sweep.error, azimuth_arcmin=azimuth, altitude_arcmin=altitude, **loose, **wide)
    monkeypatch.setattr(Alignment, "error", error)
    text = flat(shown(sweep))
    assert advice in text
    assert ("error in altitude lies within" in text) == (azimuth == 5.0 and altitude == -1.0)
    assert ("error in azimuth lies within" in text) == (azimuth == -1.0)


# frames and files


def entries(count: int, **settings: object) -> tuple[FrameEntry, ...]:
    utc = (2461359.5, 0.88)
    usual = {"used": True, "utc": utc, "group": 1, "axis_angle_deg": -12.3, "residual_arcsec": 0.5}
    return tuple(FrameEntry(f"frame_{i:04d}.fits", **(usual | settings)) for i in range(count))  # type: ignore[arg-type]


def test_long_lists_are_cut_and_say_so(sweep: Measurement) -> None:
    left = tuple(
        replace(entry, name="x" + entry.name) for entry in entries(50, used=False, reason="is not solved")
    )
    text = shown(replace(sweep, entries=entries(10_000) + left))
    assert "from 10000 of 10050 frames" in text
    assert len(text.splitlines()) < 100
    assert "  and 9970 more (all of them with --json)" in text
    assert "Left out: 50" in text
    assert "  and 20 more (all of them with --json)" in text


def test_one_row_tells_name_time_angle_and_residual(sweep: Measurement) -> None:
    """JD 2461359.5 is midnight; 0.88 d is 21:07:12."""
    text = shown(replace(sweep, entries=entries(1)))
    assert re.search(r"  frame_0000\.fits +21:07:12 +-12\.3 +0\.50$", text, re.MULTILINE)


def test_groups_are_shown_where_there_are_several(sweep: Measurement) -> None:
    assert "group" not in shown(sweep)
    two = entries(2) + entries(2, group=2)
    text = shown(replace(sweep, entries=two))
    assert re.search(r"frame +UTC +deg +group +arcsec", text)
    assert len(re.findall(r"-12\.3 +2 +0\.50$", text, re.MULTILINE)) == 2


@pytest.mark.parametrize(
    "name",
    [
        "a" * 200 + "_0001.fits",
        "帧" * 60 + "_0001.fits",  # each takes two columns (Unicode Standard Annex 11)
        "e\u0301" * 60 + "_0001.fits",  # an accent of its own takes none
        "night/" * 30 + "_0001.fits",
        "ein Name mit Leerzeichen " * 6 + "_0001.fits",
    ],
)
def test_long_and_wide_names_keep_the_table_straight(name: str, sweep: Measurement) -> None:
    used, left = entries(1), entries(1, used=False, reason="is not solved", utc=None)
    both = (replace(used[0], name=name), replace(left[0], name=name))
    text = shown(replace(sweep, entries=both))
    row = next(line for line in text.splitlines() if "-12.3" in line)
    assert "_0001.fits" in row  # the end tells frames apart
    head = next(line for line in text.splitlines() if "frame" in line and "UTC" in line)
    assert columns(row) == columns(head) <= 79
    assert columns(row[: row.index("21:07:12")]) + len("21:07:12") == head.index("UTC") + len("UTC")
    assert "is not solved" in flat(text)


def test_files_that_stand_behind_others_are_counted(sweep: Measurement) -> None:
    beside = entries(3, used=False, reason="holds the solution of x", is_sidecar=True)
    text = shown(replace(sweep, entries=entries(4) + beside))
    assert "from 4 frames" in text
    assert "Left out" not in text
    assert "3 files hold solutions or copies of these frames" in text
    one = shown(replace(sweep, entries=entries(4) + beside[:1]))
    assert "1 file holds a solution or a copy of these frames" in one


def test_warning_is_one_wrapped_paragraph() -> None:
    text = notice_text(Notice("some-code", "A sentence of many words. " * 10))
    lines = text.splitlines()
    assert lines[0].startswith("warning: A sentence")
    assert all(line.startswith("  ") for line in lines[1:])
    assert max(map(len, lines)) < 80


# JSON


def test_json_is_ascii_and_refuses_what_is_no_number(sweep: Measurement) -> None:
    text = json_text(measurement_object(sweep))
    assert text.isascii()
    assert strict_json(text)["schema"] == "polarcheck.measure/1"
    broken = replace(sweep, frame_noise_arcsec=float("nan"))
    with pytest.raises(ValueError, match="finite"):
        json_text(measurement_object(broken))


def test_json_names_what_the_text_counts(tmp_path: Path) -> None:
    paths = frames(tmp_path, 4)
    (tmp_path / "copy.fits").write_bytes(paths[0].read_bytes())
    paths[3].write_bytes(b"")
    result = measurement_object(measure(tmp_path)).to_dict()
    fate = {frame["file"]: frame["reason"] for frame in result["frames"]}
    assert len(fate) == 5
    assert [name for name, reason in fate.items() if reason is None][1:] == [paths[1].name, paths[2].name]
    assert "same frame as" in "".join(reason for reason in fate.values() if reason)
    assert list(fate)[-1] == paths[3].name
    assert result["fit"]["frames_used"] == 3
