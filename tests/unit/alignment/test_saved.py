"""Results kept with --out: read back the same; damaged ones refused in one clear sentence."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polarcheck.alignment import saved
from polarcheck.alignment.saved import kept_text, read_alignment
from polarcheck.alignment.schema import FileTable, KeptAlignment
from polarcheck.alignment.state import Alignment, FrameFile
from polarcheck.errors import InputError
from polarcheck.followup.axis_now import follow_frames
from polarcheck.frames import read_frames
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure
from polarcheck.report.objects import followed_object, json_text, measurement_object
from polarcheck.times import seconds_between
from tests.commands import SMALL, frames, steering
from tests.helpers import ARCSEC, separation_arcsec


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return frames(tmp_path_factory.mktemp("night"), count=5)


@pytest.fixture(scope="module")
def kept(paths: list[Path]) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(json_text(measurement_object(measure(paths[:4]))))
    return content


def same(read: Any, meant: Any) -> None:
    """Compare piece by piece: numbers to the last digit but three, what has no number exactly."""
    assert type(read) is type(meant)
    if is_dataclass(read):
        for field in fields(read):
            one, other = getattr(read, field.name), getattr(meant, field.name)
            if field.name == "utc":  # kept to a hundredth of a second
                assert abs(seconds_between(one, other)) < 0.006
            elif field.name == "paths":  # seen from the kept result, and absolute
                assert [place.resolve() for place in one] == [other[0].resolve()] * 2
            else:
                same(one, other)
    elif isinstance(read, tuple):
        assert len(read) == len(meant)
        for one, other in zip(read, meant, strict=True):
            same(one, other)
    elif isinstance(read, (float, np.ndarray)):
        assert read == pytest.approx(meant, rel=1e-12, abs=1e-15)
    else:
        assert read == meant


def write(folder: Path, content: Any, name: str = "kept.json") -> Path:
    path = folder / name
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_measurement_comes_back_as_it_was(tmp_path: Path, paths: list[Path]) -> None:
    result = measure(paths[:4], pole="true", conditions=Conditions(pressure_hpa=905.5, temperature_c=-3.25))
    same(read_alignment(write(tmp_path, json_text(measurement_object(result, tmp_path)))), result.alignment)


def test_result_with_nine_sensor_points_is_read_as_todays(tmp_path: Path, kept: dict[str, Any]) -> None:
    """The nine were Gauss-Legendre's of order 3, in the rows' order; the simulated camera keeps straight lines straight.

    To 0.02 arcsec, a thousandth of a pixel: the sixteen of these frames bear the refraction within the field.
    """
    camera = kept["camera"]
    wide, high = (side / 2 * SMALL.pixel_scale_arcsec for side in (SMALL.width_px, SMALL.height_px))
    now = np.array(camera["points"])
    ahead, right, up = now.mean(axis=0), now[3] - now[0], now[12] - now[0]
    corner = np.sqrt(0.6) * np.array([wide, high]) * ARCSEC
    old = [
        ahead / np.linalg.norm(ahead)
        + x * corner[0] * right / np.linalg.norm(right)
        + y * corner[1] * up / np.linalg.norm(up)
        for y in (-1, 0, 1)
        for x in (-1, 0, 1)
    ]
    points = [list(point / np.linalg.norm(point)) for point in old]
    older = {**kept, "camera": {**camera, "points": points}}
    found = read_alignment(write(tmp_path, older)).camera
    assert found is not None
    assert separation_arcsec(found.template, now).max() < 0.02


def test_followed_axis_comes_back_with_its_history(tmp_path: Path, paths: list[Path]) -> None:
    result = measure(paths[:4])
    followed = follow_frames(result.alignment, read_frames([paths[4]]), turned=(0.25, -0.5))
    read = read_alignment(write(tmp_path, json_text(followed_object(followed, tmp_path))))
    same(read, followed.alignment)
    assert [step.turned for step in read.steps] == [None, (0.25, -0.5)]


def test_kept_result_is_followed_like_the_one_in_memory(
    tmp_path: Path, paths: list[Path], kept: dict[str, Any]
) -> None:
    later = read_frames([paths[4]])
    from_file = follow_frames(read_alignment(write(tmp_path, kept)), later)
    assert from_file.error.azimuth_arcmin == pytest.approx(
        follow_frames(measure(paths[:4]).alignment, later).error.azimuth_arcmin, abs=1e-9
    )


def file_keys(result: Path, relative: str | None, absolute: str) -> Path:
    content = json.loads(result.read_text(encoding="utf-8"))
    content["camera"]["last_frame_file"] = {"relative": relative, "absolute": absolute, "clock_ahead_s": 2.5}
    return write(result.parent, content)


def test_last_frame_is_looked_for_beside_the_result_then_where_it_was(
    tmp_path: Path, kept: dict[str, Any]
) -> None:
    result = file_keys(write(tmp_path, kept), "../night/a.fits", "/elsewhere/a.fits")
    file = read_alignment(result).last_file
    assert file is not None
    assert file.paths == (tmp_path / "../night/a.fits", Path("/elsewhere/a.fits"))
    assert file.clock_ahead_s == 2.5


@pytest.mark.parametrize(
    "place", ["//host/share/a.fits", r"\\host\share\a.fits", "/\\host/a.fits", "a\0b.fits"]
)
def test_last_frame_on_another_machine_or_nowhere_is_not_looked_for(
    tmp_path: Path, kept: dict[str, Any], place: str
) -> None:
    for relative in (place, None):
        file = read_alignment(file_keys(write(tmp_path, kept), relative, place)).last_file
        assert file is not None
        assert file.paths == ()


def test_keys_that_nobody_knows_do_no_harm(tmp_path: Path, kept: dict[str, Any]) -> None:
    assert isinstance(read_alignment(write(tmp_path, kept | {"later": {"version": 9}})), Alignment)


def put(*where: str | int, value: Any) -> Callable[[dict[str, Any]], None]:
    def damage(content: dict[str, Any]) -> None:
        place: Any = content
        for key in where[:-1]:
            place = place[key]
        place[where[-1]] = value

    return damage


def take(*where: str) -> Callable[[dict[str, Any]], None]:
    def damage(content: dict[str, Any]) -> None:
        place: Any = content
        for key in where[:-1]:
            place = place[key]
        del place[where[-1]]

    return damage


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (take("site"), "damaged at site"),
        (take("camera"), "damaged at camera"),
        (take("history"), "damaged at history"),
        (take("axis", "covariance_arcmin2"), "damaged at axis.covariance_arcmin2"),
        (put("site", "latitude_deg", value="north"), "damaged at site.latitude_deg"),
        (put("site", "latitude_deg", value=95.0), "latitude"),
        (put("site", "latitude_deg", value=None), "damaged at site.latitude_deg"),
        (put("aim", value="elsewhere"), "damaged at aim"),
        (put("axis", "azimuth_deg", value=float("nan")), "damaged at axis.azimuth_deg"),
        (put("axis", "altitude_deg", value=float("inf")), "damaged at axis.altitude_deg"),
        (put("axis", "altitude_deg", value=200.0), "damaged at axis.altitude_deg"),
        (put("axis", "covariance_arcmin2", value=[[1.0, 0.0]]), "damaged at axis.covariance_arcmin2"),
        (put("axis", "covariance_arcmin2", value=[[-1.0, 0.0], [0.0, 1.0]]), "covariance"),
        (put("axis", "covariance_arcmin2", value=[[1.0, 5.0], [5.0, 1.0]]), "covariance"),
        (put("degrees_of_freedom", value=-1), "damaged at degrees_of_freedom"),
        (put("camera", "pixel_scale_arcsec", value=0.0), "damaged at camera.pixel_scale_arcsec"),
        (put("camera", "width_px", value=-5), "camera.width_px"),
        (put("camera", "points", value=[[0.0, 0.0, 1.0]]), "damaged at camera.points"),
        (put("camera", "points", 4, value=[0.0, 0.0, 7.0]), "camera.points"),
        (put("camera", "points", value=[[0.0, 0.0, 0.0]] * 9), "camera.points"),
        (put("camera", "axis", value=[0.0, 0.0, 0.0]), "camera.axis"),
        (put("camera", "attitude", value=[[1.0, 0.0, 0.0]] * 3), "camera.attitude"),
        (put("camera", "attitude", value=[[0.0] * 3] * 3), "camera.attitude"),
        (put("camera", "noise_px", value=-1.0), "damaged at camera.noise_px"),
        (put("camera", "axis_covariance_arcsec2", value=[[-1.0, 0, 0], [0, 1, 0], [0, 0, 1]]), "covariance"),
        (put("history", value=[{}]), "damaged at history.0.epoch_utc"),
        (put("history", 0, "epoch_utc", value="yesterday"), "yesterday"),
        (put("history", 0, "turned", value=[1.0]), "damaged at history.0.turned"),
        (put("history", value=[]), "history"),
        (put("schema", value="polarcheck.correct/1"), "polarcheck.correct/1"),
        (put("schema", value="\x1b[2J"), "is no result that measure or follow kept"),
        (put("schema", value=["polarcheck.measure/1"]), "is no result that measure or follow kept"),
        (take("schema"), "names no schema"),
        (put("atmosphere", "pressure_hpa", value=-4.0), "pressure"),
        (put("atmosphere", "temperature_c", value=-400.0), "temperature"),
    ],
)
def test_damaged_file_is_refused_with_its_name_and_place(
    tmp_path: Path, kept: dict[str, Any], damage: Callable[[dict[str, Any]], None], said: str
) -> None:
    content = json.loads(json.dumps(kept))
    damage(content)
    with pytest.raises(InputError) as caught:
        read_alignment(write(tmp_path, content))
    text = str(caught.value)
    assert text.startswith("kept.json: ")
    assert said in text
    assert "\n" not in text
    assert not steering(text)


def test_numbers_of_six_decimals_are_taken_and_of_five_are_not(tmp_path: Path, kept: dict[str, Any]) -> None:
    """Rounded to six, the three of a unit vector take its length off by up to sqrt(3) / 2 of the last: 8.7e-7."""
    third = 3**-0.5
    for off, is_taken in ((8.5e-7, True), (1.5e-6, False)):
        content = json.loads(json.dumps(kept))
        content["camera"]["axis"] = [third * (1 + off)] * 3
        path = write(tmp_path, content)
        if is_taken:
            read_alignment(path)
        else:
            with pytest.raises(InputError, match="is no unit vector"):
                read_alignment(path)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"3",
        b'"polarcheck.measure/1"',
        b"\xff\xfe\x00",
        b"[" * 100_000,
        b"SIMPLE  =   T",
    ],
    ids=["empty", "cut", "list", "null", "number", "text", "bytes", "deep", "fits"],
)
def test_file_of_another_kind_is_refused(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "other.json"
    path.write_bytes(raw)
    with pytest.raises(InputError, match=r"^other\.json: is no "):
        read_alignment(path)


def test_missing_file_folder_and_huge_file_are_refused(tmp_path: Path) -> None:
    huge = tmp_path / "huge.json"
    with huge.open("wb") as file:
        file.truncate(70_000_000)  # 230,000 frames of 300 bytes: no night has so many
    with pytest.raises(InputError, match=r"^huge\.json: is too large"):
        read_alignment(huge)
    with pytest.raises(InputError, match=r"^none\.json: cannot be read \(No such file"):
        read_alignment(tmp_path / "none.json")
    with pytest.raises(InputError, match="cannot be read"):
        read_alignment(tmp_path)


def test_result_as_large_as_may_be_written_is_read(
    tmp_path: Path, kept: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    model = KeptAlignment.model_validate(kept)
    path = write(
        tmp_path, model.to_json() + " " * 40_000_000
    )  # 130,000 frames of 300 bytes: three a second all night
    assert isinstance(read_alignment(path), Alignment)
    with path.open("r+b") as file:
        file.truncate(100_000_000)  # nothing that this program wrote
    with pytest.raises(InputError, match="too large"):
        read_alignment(path)
    length = len(model.to_json())
    monkeypatch.setattr(saved, "LARGEST_BYTES", length + 1)  # and a line's end
    assert isinstance(read_alignment(write(tmp_path, kept_text(model) + "\n")), Alignment)
    monkeypatch.setattr(saved, "LARGEST_BYTES", length)
    with pytest.raises(InputError, match="give fewer frames"):
        kept_text(model)
    with pytest.raises(InputError, match="too large"):
        read_alignment(write(tmp_path, model.to_json() + "\n"))


def test_result_of_an_older_version_is_read(tmp_path: Path, kept: dict[str, Any]) -> None:
    """The keys of the first version that kept results, and no others."""
    old = json.loads(json.dumps(kept))
    for key in ("other_pole", "fit", "frames", "site_cost", "next_frame", "warnings"):
        del old[key]
    del old["camera"]["last_frame_file"]
    del old["history"][0]["is_loose"]
    read = read_alignment(write(tmp_path, old))
    assert read.last_file is None
    assert not read.is_loose
    assert read.error == read_alignment(write(tmp_path, kept)).error


def test_place_that_is_no_text_is_not_told(tmp_path: Path) -> None:
    """POSIX names are bytes; Python has undecodable ones as lone surrogates, which no JSON text may hold."""
    for odd in ("n\udcff/a.fits", "a\udc80.fits"):
        assert FileTable.of(FrameFile((tmp_path / odd,)), tmp_path) is None
    assert FileTable.of(FrameFile((tmp_path / "ü.fits",)), tmp_path) is not None


def test_file_cut_anywhere_is_refused(tmp_path: Path, kept: dict[str, Any]) -> None:
    text = json.dumps(kept)
    for length in range(0, len(text) - 1, 97):
        with pytest.raises(InputError, match="is no JSON"):
            read_alignment(write(tmp_path, text[:length]))


def test_random_bytes_changed_give_an_alignment_or_one_clear_refusal(
    tmp_path: Path, kept: dict[str, Any]
) -> None:
    rng = np.random.default_rng(17)
    whole = np.frombuffer(json.dumps(kept).encode(), dtype=np.uint8)
    path = tmp_path / "kept.json"
    refused = 0
    for _ in range(600):
        raw = whole.copy()
        places = rng.integers(0, len(raw), rng.integers(1, 4))
        # half of the changes keep to JSON's own letters, so that more of them get past the parser
        letters = np.frombuffer(b'0123456789.,-eE[]{}":ntf', dtype=np.uint8)
        raw[places] = (
            rng.choice(letters, len(places)) if rng.random() < 0.5 else rng.integers(0, 256, len(places))
        )
        path.write_bytes(raw.tobytes())
        try:
            error = read_alignment(path).error
        except InputError as refusal:
            refused += 1
            assert str(refusal).startswith("kept.json: ")
            assert not steering(str(refusal))
        else:
            assert np.isfinite([error.azimuth_arcmin, error.altitude_arcmin, error.total_sigma_arcmin]).all()
    assert 100 < refused < 600
