"""The last frame looked at again: found, told from others, and why there is no mark, in words."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polarcheck.alignment.saved import read_alignment
from polarcheck.alignment.state import Alignment, FrameFile
from polarcheck.followup.last_frame import SensorMark, mark_on_sensor
from polarcheck.followup.schema import MarkTable
from polarcheck.frames import Image
from polarcheck.knobs.correction import correct_knobs
from polarcheck.knobs.spec import KnobSpec
from polarcheck.measurement.conditions import Reading
from polarcheck.measurement.measurement import measure
from polarcheck.measurement.source import given_alignment
from polarcheck.report.objects import json_text, measurement_object
from polarcheck.report.pictures.mark import save_mark_picture
from polarcheck.report.text.mark import mark_text
from polarcheck.simulate import Camera
from polarcheck.sky.observed import Sky
from polarcheck.times import add_seconds
from tests.commands import NORTH, frames, steering, strict_json

CAMERA = Camera(width_px=400, height_px=300, pixel_scale_arcsec=10.0)
UNKNOWN = KnobSpec()


def peaks(image: Image, margin: float) -> np.ndarray:
    """Brightest pixels that stand alone, the brightest first."""
    pixels = image.pixels if image.pixels.ndim == 2 else image.pixels.mean(axis=0)
    height, width = pixels.shape
    light = np.asarray(pixels, dtype=float) - np.median(pixels)
    places = []
    while light.max() > 50 and len(places) < 40:
        y, x = np.unravel_index(np.argmax(light), light.shape)
        light[max(y - 6, 0) : y + 7, max(x - 6, 0) : x + 7] = 0
        if min(x, y, width - 1 - x, height - 1 - y) > margin:
            places.append((float(x), float(y)))
    return np.array(places).reshape(-1, 2)


def mark(alignment: Alignment, find: Callable[..., Any] = peaks) -> SensorMark:
    return mark_on_sensor(alignment, correct_knobs(alignment, (UNKNOWN, UNKNOWN)).moves, find)


def mark_keys(found: SensorMark) -> Any:
    """To a billionth: the order of sums in the processor may change the last digits."""
    return json.loads(
        json.dumps(MarkTable.of_mark(found).to_dict()), parse_float=lambda text: round(float(text), 9)
    )


def reason(alignment: Alignment) -> str:
    found = mark(alignment)
    assert found.target is None
    assert found.reason is not None
    assert mark_keys(found) == {"star_target": None, "star_target_reason": found.reason}
    text = mark_text(found)
    assert not steering(text)
    assert max(map(len, text.splitlines())) <= 80
    return found.reason


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return frames(tmp_path_factory.mktemp("night"), camera=CAMERA)


@pytest.fixture
def own(night: list[Path], tmp_path: Path) -> list[Path]:
    return [Path(shutil.copy(path, tmp_path)) for path in night]


@pytest.fixture
def kept(own: list[Path], tmp_path: Path) -> Path:
    path = tmp_path / "kept.json"
    path.write_text(json_text(measurement_object(measure(own), tmp_path)), encoding="utf-8")
    return path


def test_mark_is_on_the_last_frame(night: list[Path]) -> None:
    found = mark(measure(night).alignment)
    assert found.reason is None
    assert found.target is not None
    assert found.target.file == night[-1].name
    # 20 arcmin of axis at 50 deg from it, in pixels of 10 arcsec: tens of pixels
    assert 20 < np.hypot(*np.subtract(found.target.to_px, found.target.from_px)) < 200
    light = fits.getdata(night[-1])
    x, y = (round(value) for value in found.target.from_px)
    assert light[y, x] > 200


def test_kept_result_gives_the_same_mark_wherever_the_night_was_moved(kept: Path, own: list[Path]) -> None:
    first = mark_keys(mark(read_alignment(kept)))
    assert first["star_target"] is not None
    elsewhere = kept.parent / "moved"
    elsewhere.mkdir()
    for path in (kept, own[-1]):
        shutil.move(path, elsewhere)
    assert mark_keys(mark(read_alignment(elsewhere / "kept.json"))) == first


def test_result_moved_alone_finds_the_frame_where_it_was(kept: Path) -> None:
    (kept.parent / "a" / "b").mkdir(parents=True)
    alone = shutil.move(kept, kept.parent / "a" / "b")
    assert mark(read_alignment(Path(alone))).target is not None


def test_clock_that_was_ahead_does_not_hide_the_frame(own: list[Path], tmp_path: Path) -> None:
    path = tmp_path / "kept.json"
    path.write_text(
        json_text(measurement_object(measure(own, reading=Reading(clock_ahead_s=7.25)), tmp_path)),
        encoding="utf-8",
    )
    assert mark(read_alignment(path)).target is not None


def test_missing_frame_is_the_reason(kept: Path, own: list[Path]) -> None:
    own[-1].unlink()
    said = reason(read_alignment(kept))
    assert own[-1].name in said
    assert "no longer where it was" in said


def test_folder_in_place_of_the_frame_is_the_reason(kept: Path, own: list[Path]) -> None:
    own[-1].unlink()
    own[-1].mkdir()
    assert "no longer where it was" in reason(read_alignment(kept))


def test_other_frame_under_the_same_name_is_told_apart(kept: Path, own: list[Path]) -> None:
    shutil.copy(own[0], own[-1])
    assert "another frame now" in reason(read_alignment(kept))


def test_other_camera_at_the_same_time_is_told_apart(kept: Path, own: list[Path]) -> None:
    with fits.open(own[-1], mode="update") as content:
        content[0].data = content[0].data[:, :200].copy()
    assert "another frame now" in reason(read_alignment(kept))


@pytest.mark.parametrize(
    ("seconds", "is_same"), [(0.015, True), (-0.015, True), (0.03, False), (-0.03, False)]
)
def test_frame_of_the_same_moment_is_the_same_but_for_rounding(
    night: list[Path], seconds: float, is_same: bool
) -> None:
    """Kept results and headers round to a hundredth of a second, each by its own half; cameras are not that quick."""
    alignment = measure(night).alignment
    last = alignment.steps[-1]
    steps = (*alignment.steps[:-1], replace(last, utc=add_seconds(last.utc, seconds)))
    found = mark(replace(alignment, steps=steps))
    assert (found.target is not None) is is_same


@pytest.mark.parametrize(
    ("camera", "margin_px"),
    [(CAMERA, 9.0), (replace(CAMERA, width_px=1200, height_px=900), 20.0)],
    ids=["small sensor", "large sensor"],
)
def test_stars_are_looked_for_away_from_the_edge(tmp_path: Path, camera: Camera, margin_px: float) -> None:
    """3 % of the shorter side, and no more than a star's halo needs: 20 px; common practice, no source."""
    asked = []

    def find(image: Image, margin: float) -> np.ndarray:
        asked.append(margin)
        return peaks(image, margin)

    mark(measure(frames(tmp_path, camera=camera)).alignment, find)
    assert asked == [pytest.approx(margin_px)]


@pytest.mark.parametrize(("place", "is_seen"), [(180, True), (220, False)])
def test_star_that_stays_is_sought_among_the_first_two_hundred(
    night: list[Path], place: int, is_seen: bool
) -> None:
    """The others are fainter than the eye finds again on a screen; common practice, no source."""
    alignment = measure(night).alignment
    stays = mark(alignment).target
    assert stays is not None
    leaves = np.full((300, 2), [399.0, 299.0])
    leaves[place] = stays.from_px
    chosen = mark(alignment, lambda image, margin: leaves).target
    assert chosen is not None
    assert (chosen.reason is None) is is_seen


def test_damaged_frame_is_the_reason(kept: Path, own: list[Path]) -> None:
    own[-1].write_bytes(own[-1].read_bytes()[:2000])
    assert own[-1].name in reason(read_alignment(kept))


def test_frame_whose_pixels_are_gone_is_the_reason(own: list[Path], tmp_path: Path) -> None:
    """A header-only solution beside no image has nothing to look at."""
    alone = []
    for path in own:
        header = fits.getheader(path)
        header["IMAGEW"], header["IMAGEH"] = header["NAXIS1"], header["NAXIS2"]
        for keyword in ("NAXIS1", "NAXIS2"):
            del header[keyword]
        header["NAXIS"] = 0
        alone.append(path.with_suffix(".wcs"))
        fits.PrimaryHDU(None, header).writeto(alone[-1])
        path.unlink()
    assert "holds no image" in reason(measure(alone).alignment)


def test_blank_frame_is_the_reason(own: list[Path]) -> None:
    with fits.open(own[-1], mode="update") as content:
        content[0].data[:] = 7
    assert "no star stands out" in reason(measure(own).alignment)


@pytest.mark.parametrize("damage", [np.nan, np.inf])
def test_pixels_that_are_no_numbers_are_overlooked(own: list[Path], damage: float) -> None:
    with fits.open(own[-1]) as content:
        header, light = content[0].header, content[0].data.astype(np.float32)
    for keyword in ("BZERO", "BSCALE"):
        header.remove(keyword, ignore_missing=True)
    light[:, 30:60] = damage
    fits.PrimaryHDU(light, header).writeto(own[-1], overwrite=True)
    alignment = measure(own).alignment
    moves = correct_knobs(alignment, (UNKNOWN, UNKNOWN)).moves
    assert mark_on_sensor(alignment, moves).target is not None
    light[:] = damage
    fits.PrimaryHDU(light, header).writeto(own[-1], overwrite=True)
    assert "no star stands out" in str(mark_on_sensor(alignment, moves).reason)


def test_error_without_a_frame_is_the_reason() -> None:
    assert "no frame" in reason(given_alignment((20.0, 10.0), Sky.over(NORTH)))


def test_result_of_an_earlier_version_is_the_reason(kept: Path) -> None:
    assert "does not say where" in reason(replace(read_alignment(kept), last_file=None))


@pytest.mark.parametrize("name", ["a" * 5000, "x\0y", "/dev/zero", "con"])
def test_paths_that_are_no_files_do_no_harm(kept: Path, name: str) -> None:
    alignment = replace(read_alignment(kept), last_file=FrameFile((Path(name),)))
    assert "no longer where it was" in reason(alignment)


def test_colour_planes_serve_as_one_image(own: list[Path]) -> None:
    with fits.open(own[-1]) as content:
        header, light = content[0].header, content[0].data
    fits.PrimaryHDU(np.stack([light] * 3), header).writeto(own[-1], overwrite=True)
    found = mark(measure(own).alignment)
    assert found.target is not None
    save_mark_picture(found.target, found.pixels, own[-1].with_suffix(".png"))


def test_colour_mosaic_has_the_same_mark_as_the_plain_frame(own: list[Path]) -> None:
    """Red, green and blue pixels see sky and stars with different sensitivity, which makes a checkerboard."""
    with fits.open(own[-1]) as content:
        header, light = content[0].header, content[0].data.astype(float)
    alignment = measure(own).alignment
    moves = correct_knobs(alignment, (UNKNOWN, UNKNOWN)).moves
    plain = mark_on_sensor(alignment, moves).target
    gains = np.tile([[0.6, 1.0], [1.0, 0.45]], (light.shape[0] // 2, light.shape[1] // 2))
    header["BAYERPAT"] = "RGGB"
    mosaic = np.rint((light + 400.0) * gains).astype(np.uint16)
    fits.PrimaryHDU(mosaic, header).writeto(own[-1], overwrite=True)
    found = mark_on_sensor(alignment, moves)
    assert plain is not None
    assert found.target is not None
    assert np.hypot(*np.subtract(found.target.from_px, plain.from_px)) < 0.5
    assert found.pixels.shape == light.shape


def test_text_gives_both_places_and_which_way(night: list[Path]) -> None:
    found = mark(measure(night).alignment)
    assert found.target is not None
    text = mark_text(found)
    assert max(map(len, text.splitlines())) <= 80
    said = " ".join(text.split())
    for place in (found.target.from_px, found.target.after_first_px, found.target.to_px):
        assert place is not None
        assert f"x {place[0]:.0f}, y {place[1]:.0f}" in said
    after, to = found.target.after_first_px, found.target.to_px
    assert after is not None
    assert to is not None
    side = "higher" if to[0] > after[0] else "lower"
    assert f"{abs(round(to[0]) - round(after[0]))} px to {side} x" in said


def test_json_holds_what_scripts_rely_on(night: list[Path]) -> None:
    answer = strict_json(json_text(MarkTable.of_mark(mark(measure(night).alignment))))["star_target"]
    assert {"file", "from_px", "after_first_px", "to_px", "reason"} <= set(answer)
    for key in ("from_px", "after_first_px", "to_px"):
        assert len(answer[key]) == 2


def test_star_that_leaves_says_so_in_text_and_picture(night: list[Path]) -> None:
    alignment = replace(measure(night).alignment, axis=given_alignment((400.0, 30.0), Sky.over(NORTH)).axis)
    found = mark(alignment)
    assert found.target is not None
    assert found.target.to_px is None
    said = " ".join(mark_text(found).split())
    assert "after azimuth: off the sensor" in said
    assert f"turn azimuth by {found.target.part_on_sensor[1] * 100:.0f} % of its move" in said
    assert max(map(len, mark_text(found).splitlines())) <= 80
    save_mark_picture(found.target, found.pixels, night[0].parent / "leaves.svg")
    drawn = (night[0].parent / "leaves.svg").read_text(encoding="utf-8")
    assert drawn.startswith("<?xml")


def test_picture_is_dark_and_warm(night: list[Path], tmp_path: Path) -> None:
    found = mark(measure(night).alignment)
    assert found.target is not None
    save_mark_picture(found.target, found.pixels, tmp_path / "mark.png")
    from matplotlib.image import imread

    picture = imread(tmp_path / "mark.png")
    assert picture[..., :3].mean() < 0.15
    assert picture[..., 2].max() < 0.8  # nowhere white or blue
    assert picture[..., 0].max() > 0.7


def test_picture_rules_off_all_three_places_in_figures(night: list[Path], tmp_path: Path) -> None:
    found = mark(measure(night).alignment)
    assert found.target is not None
    save_mark_picture(found.target, found.pixels, tmp_path / "mark.svg")
    drawn = (tmp_path / "mark.svg").read_text(encoding="utf-8")
    written = re.findall(r"<!-- (.*?) -->", drawn)  # the drawing library notes each text so
    for place in (found.target.from_px, found.target.after_first_px, found.target.to_px):
        assert place is not None
        assert {f"{place[0]:.0f}", f"{place[1]:.0f}"} <= set(written)


def test_piece_of_a_large_frame_is_thinned_and_keeps_its_stars(night: list[Path], tmp_path: Path) -> None:
    """A lone bright pixel near the star of a frame of 6000 columns must not vanish from the picture."""
    from matplotlib.image import imread

    found = mark(measure(night).alignment)
    assert found.target is not None
    far = replace(
        found.target,
        width_px=6000,
        height_px=3000,
        from_px=(100.0, 100.0),
        after_first_px=(5000.0, 200.0),
        to_px=(5900.0, 2900.0),
        way_px=np.linspace([100.0, 100.0], [5900.0, 2900.0], 129),
        part_px=(5900.0, 2900.0),
    )
    light = np.random.default_rng(1).normal(100, 3, (3000, 6000))
    pictures = []
    for name, level in (("dark", 100.0), ("lit", 60000.0)):
        light[210, 310] = level
        save_mark_picture(far, light, tmp_path / f"{name}.png")
        pictures.append(imread(tmp_path / f"{name}.png"))
    assert np.abs(pictures[0] - pictures[1]).max() > 0.3
