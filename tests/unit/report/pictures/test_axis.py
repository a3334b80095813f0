"""The picture of a measurement: whole, legible to a dark-adapted eye, the right way round."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from polarcheck import Measurement, measure
from polarcheck.errors import InputError
from polarcheck.report import save_measurement_picture
from polarcheck.report.pictures import canvas
from tests.commands import SAMPLES, SOUTH, frames

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Measurement]:
    """A usual case, the other hemisphere, the pole within the ellipse, no redundancy, and many frames."""
    folder = tmp_path_factory.mktemp("pictures")
    frames(folder / "tiny", 5, error_arcmin=(0.02, -0.01))
    frames(folder / "two", 2, error_arcmin=(-500.0, 350.0))
    frames(folder / "many", 24)
    frames(folder / "south", 3, site=SOUTH, declination_deg=-40.0, error_arcmin=(4.0, 30.0))
    names = ["tiny", "two", "many", "south"]
    return {"north": measure(SAMPLES / "north_sweep"), **{name: measure(folder / name) for name in names}}


each_case = pytest.mark.parametrize("name", ["north", "tiny", "two", "many", "south"])


@pytest.fixture(scope="module")
def drawn(results: dict[str, Measurement], tmp_path_factory: pytest.TempPathFactory) -> dict[str, ET.Element]:
    folder = tmp_path_factory.mktemp("drawn")
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(canvas.STYLE, "svg.fonttype", "none")  # text as text, to be read here
        for name, result in results.items():
            save_measurement_picture(result, folder / f"{name}.svg")
    return {name: ET.parse(folder / f"{name}.svg").getroot() for name in results}


def words(root: ET.Element) -> list[str]:
    return ["".join(text.itertext()).strip() for text in root.iter(f"{SVG}text")]


def luminance(colours: np.ndarray) -> np.ndarray:
    """Relative luminance of sRGB within 0 to 1 (W3C, Web Content Accessibility Guidelines 2.1, definitions)."""
    linear = np.where(colours <= 0.03928, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ [0.2126, 0.7152, 0.0722])


def hex_luminance(colour: str) -> float:
    return float(luminance(np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])))


@each_case
def test_png_is_dark_and_svg_is_xml(
    name: str, results: dict[str, Measurement], drawn: dict[str, ET.Element], tmp_path: Path
) -> None:
    save_measurement_picture(results[name], tmp_path / "axis.png")
    pixels = imread(tmp_path / "axis.png")[..., :3]
    assert pixels.shape[1] > 700
    # a white page is 1; a fiftieth of it leaves adapted eyes mostly alone (common practice, no source)
    assert luminance(pixels).mean() < 0.02
    assert drawn[name].tag == f"{SVG}svg"


@each_case
def test_text_can_be_read_and_is_warm(name: str, drawn: dict[str, ET.Element]) -> None:
    """Contrast 4.5 : 1 for text (W3C, Web Content Accessibility Guidelines 2.1, criterion 1.4.3)."""
    root = drawn[name]
    ground = hex_luminance("#140a08")
    colours = {
        match[1]
        for text in root.iter(f"{SVG}text")
        if (match := re.search(r"fill: (#\w{6})", str(text.attrib)))
    }
    assert colours
    for colour in colours:
        assert (hex_luminance(colour) + 0.05) / (ground + 0.05) > 4.5
    for colour in set(re.findall(r"#[0-9a-f]{6}\b", ET.tostring(root, "unicode"))):
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert red >= green >= blue


@each_case
def test_no_label_leaves_the_picture(name: str, drawn: dict[str, ET.Element]) -> None:
    root = drawn[name]
    width, height = (float(part) for part in root.attrib["viewBox"].split()[2:])
    for text in root.iter(f"{SVG}text"):
        said = "".join(text.itertext())
        moved = re.search(r"(?:translate\(|x=\"?)(-?[\d.]+)[ ,]+(-?[\d.]+)", text.get("transform", ""))
        x, y = (
            (float(moved[1]), float(moved[2]))
            if moved
            else (float(text.attrib["x"]), float(text.attrib["y"]))
        )
        assert 0 < x < width
        assert 0 < y < height
        if (
            "arcmin too" in said
        ):  # the title, set from its middle: 0.6 em a letter is more than the font takes
            size = 12
            assert len(said) * 0.6 * size < width


@each_case
def test_axes_are_labelled_in_arcminutes_and_the_title_says_the_error_in_words(
    name: str, results: dict[str, Measurement], drawn: dict[str, ET.Element]
) -> None:
    said = words(drawn[name])
    assert said.count("azimuth on the sky, arcmin") == 2
    assert "altitude, arcmin: up is too high" in said
    assert "refracted pole" in said
    title = " ".join(text for text in said if "arcmin too" in text)
    error, north = results[name].error, results[name].site.is_north
    # azimuth grows eastward in the north and westward, seen from the pole's azimuth 180, in the south
    assert ("far east" in title) == ((error.azimuth_arcmin > 0) == north)
    assert ("too high" in title) == (error.altitude_arcmin > 0)
    assert f"{abs(error.azimuth_arcmin):.0f}" in title


@pytest.mark.parametrize(("name", "left", "right"), [("north", "west", "east"), ("south", "east", "west")])
def test_east_is_right_facing_north_and_left_facing_south(
    name: str, left: str, right: str, drawn: dict[str, ET.Element]
) -> None:
    arrows = [text for text in words(drawn[name]) if "←" in text]
    assert len(arrows) == 2
    assert all(re.fullmatch(rf"← {left}\s+{right} →", text) for text in arrows)


def test_two_frames_say_that_nothing_is_left_over(drawn: dict[str, ET.Element]) -> None:
    assert "without redundancy" in words(drawn["two"])
    assert "without redundancy" not in words(drawn["many"])


def test_picture_that_cannot_be_written_is_an_input_error(
    results: dict[str, Measurement], tmp_path: Path
) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        save_measurement_picture(results["tiny"], tmp_path / "missing" / "axis.png")


def test_same_result_gives_the_same_svg(results: dict[str, Measurement], tmp_path: Path) -> None:
    """No date in it, so that two pictures can be compared."""
    for name in ("first.svg", "second.svg"):
        save_measurement_picture(results["north"], tmp_path / name)
    assert (tmp_path / "first.svg").read_bytes() == (tmp_path / "second.svg").read_bytes()
