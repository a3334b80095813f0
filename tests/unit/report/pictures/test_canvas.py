"""All pictures: told apart without colour, read on a phone, none of the user's settings, no label over another."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from polarcheck.report.pictures.canvas import GROUND, LINES, STYLES
from polarcheck.report.pictures.sky_map import ROUND_S, round_levels
from tests.commands import SAMPLES, run

NIGHT = ("--target", "M31", "--at", "2026-11-14T22:00:00")
PICTURES: dict[str, tuple[Any, ...]] = {
    "axis": ("measure", SAMPLES / "north_sweep", "--plot"),
    "axis of two frames": ("measure", *sorted((SAMPLES / "north_sweep").glob("*0[18]*.fz")), "--plot"),
    "drift": ("drift", "after.json", *NIGHT, "--for", "30min", "--plot"),
    "drift at another rate": ("drift", "before.json", *NIGHT, "--for", "3h", "--rate", "solar", "--plot"),
    "map": ("map", "after.json", "--rig", "rig.toml", "--guided", "--plot"),
    "map of a large error": ("map", "before.json", "--rig", "rig.toml", "--plot"),
    "timeline": ("timeline", "after.json", "--rig", "rig.toml", *NIGHT, "--guided", "--plot"),
    "star look": (
        "exposure",
        "after.json",
        "--rig",
        "rig.toml",
        *NIGHT,
        "--guided",
        "--fwhm",
        "2.5px",
        "--look",
    ),
    "mark": ("correct", "before.json", "--rig", "rig.toml", "--mark"),
    "drift beside a sequence": ("drift", "before.json", "--check", SAMPLES / "tracked_only", "--plot"),
    "pole": ("rough", "--site", "47.3,11.2", *NIGHT[2:], "--plot"),
    "stars": ("stars", SAMPLES / "north_sweep", "--plot"),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pictures")
    for sweep, name in (("north_sweep", "before.json"), ("after_correction", "after.json")):
        assert run("measure", SAMPLES / sweep, "--out", folder / name).exit_code == 0
    assert run("rig", "new", folder / "rig.toml", "--example").exit_code == 0
    return folder


@pytest.fixture(scope="module", params=list(PICTURES))
def figure(request: pytest.FixtureRequest, folder: Path) -> Figure:
    """A picture as it is when it is saved."""
    saved: list[Figure] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(Figure, "savefig", lambda self, *_, **__: saved.append(self))
        result = run(*PICTURES[request.param], "picture.png")
    assert result.exit_code == 0, result.output
    (only,) = saved
    only.set_dpi(100)
    only.canvas.draw()
    return only


def luminance(colour: str) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.2, definitions)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio, from 1 to 21 (as above)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def shown_texts(figure: Figure) -> list[Text]:
    """All that is written on a picture; labels of ticks beyond the limits of their axis are not drawn."""
    beyond: set[Text] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            ticks = [tick for tick in axis.get_major_ticks() if not low <= tick.get_loc() <= high]
            beyond |= {label for tick in ticks for label in (tick.label1, tick.label2)}
    texts = figure.findobj(lambda artist: isinstance(artist, Text) and artist.get_visible())
    return [text for text in texts if text.get_text().strip() and text not in beyond]


# lines


def test_lines_differ_in_light_and_in_stroke_not_in_hue_alone() -> None:
    """3 : 1 against the ground for what is no text (W3C, as above, criterion 1.4.11); half as light again between
    neighbours, because 1.00 cannot be told apart under a red lamp (common practice, no source).
    """
    assert all(contrast(colour, GROUND) >= 3 for colour in LINES)
    assert all(contrast(one, other) >= 1.5 for one, other in pairwise(LINES))
    assert len({str(style) for style in STYLES}) == len(STYLES) == len(LINES)


@pytest.mark.parametrize("figure", ["drift", "drift at another rate"], indirect=True)
def test_each_line_of_the_drift_is_named_at_its_end(figure: Figure) -> None:
    growth, causes, _ = figure.axes
    assert {text.get_text() for text in growth.texts} == {"east", "north", "rotation"}
    assert {"azimuth", "altitude", "refraction"} <= {text.get_text() for text in causes.texts}
    for axes in (growth, causes):
        drawn = axes.lines[: len(axes.texts)]
        assert len({str(line.get_linestyle()) + str(line._dash_pattern) for line in drawn}) == len(drawn)


# letters


def test_letters_are_read_on_a_picture_of_400_px(figure: Figure) -> None:
    """9 px from line to line at the least (common practice, no source)."""
    width_pt = figure.get_figwidth() * 72
    for text in shown_texts(figure):
        assert text.get_fontsize() * 400 / width_pt >= 9, text.get_text()


def test_no_label_lies_over_another_or_leaves_the_picture(figure: Figure) -> None:
    texts = shown_texts(figure)
    boxes = [text.get_window_extent() for text in texts]
    for i, box in enumerate(boxes):
        assert box.x0 >= 0 and box.x1 <= figure.bbox.width, texts[i].get_text()
        assert box.y0 >= 0 and box.y1 <= figure.bbox.height, texts[i].get_text()
        for j in range(i):
            over = (
                min(box.x1, boxes[j].x1) - max(box.x0, boxes[j].x0),
                min(box.y1, boxes[j].y1) - max(box.y0, boxes[j].y0),
            )
            assert min(over) < 2, (texts[i].get_text(), texts[j].get_text())


# settings


@pytest.mark.parametrize("name", ["axis", "map"])
def test_settings_of_the_user_change_nothing(
    name: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    assert run(*PICTURES[name], "plain.png").exit_code == 0
    theirs = {
        "text.usetex": True,
        "lines.linewidth": 9,
        "font.size": 30,
        "savefig.bbox": "tight",
        "axes.grid": True,
    }
    with mpl.rc_context(theirs):
        assert run(*PICTURES[name], "theirs.png").exit_code == 0
    assert Path("plain.png").read_bytes() == Path("theirs.png").read_bytes()


# the map


def test_levels_are_lengths_that_people_set() -> None:
    """Parts of a minute and of an hour, as dials and clocks have them (common practice, no source)."""
    for level in ROUND_S:
        count = level if level < 60 else level / 60 if level < 3600 else level / 3600
        assert count in (1, 1.5, 2, 3, 4, 5, 10, 15, 20, 30, 45)


@pytest.mark.parametrize("seed", range(20))
def test_map_is_parted_at_few_round_levels_within_its_range(seed: int) -> None:
    random = np.random.default_rng(seed)
    low, high = sorted(random.uniform(0.3, 4.4, 2))
    shown = 10 ** random.uniform(low, high, (30, 40))
    levels = round_levels(shown)
    assert set(levels) <= set(ROUND_S)
    assert levels == sorted(levels) and len(levels) <= 6
    assert all(shown.min() < level < shown.max() for level in levels)
    inside = sum(shown.min() < level < shown.max() for level in ROUND_S)
    assert len(levels) == min(inside, 6)


def test_map_without_any_sky_has_no_levels() -> None:
    assert round_levels(np.full((3, 3), np.nan)) == []


# the mark


@pytest.mark.parametrize("figure", ["mark"], indirect=True)
def test_pegs_and_figures_of_the_mark_do_not_shrink_with_the_frame(figure: Figure) -> None:
    """On a frame 6000 px wide and shown 400 px wide, each place still has a peg and a figure that can be read."""
    shown = 400 / (figure.get_figwidth() * 72)  # pixels of the picture, per point
    _, *rulers = figure.axes
    assert len(rulers) == 2
    for ruler in rulers:
        pegs = [line for line in ruler.lines if line.get_linewidth() * shown >= 2]
        figures = [text for text in ruler.texts if text.get_text().isdecimal()]
        assert len(pegs) == len(figures) == 3
        assert all(text.get_fontsize() * shown >= 9 for text in figures)
