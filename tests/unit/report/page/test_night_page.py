"""The page as text: what comes from elsewhere stays text, the policy names what is inline, colours stand out."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from polarcheck.digest import DigestWish, NightDigest, digest_night
from polarcheck.errors import Notice
from polarcheck.night import NightBook
from polarcheck.report import night_page
from polarcheck.report.page.night_page import _TEMPLATES
from polarcheck.sky import Target
from tests.commands import frames, steering

HOSTILE = """</script></title></style><img src=x onerror=alert(1)>"'`&amp;\u202e\u2066\x1b[31m\x00\u2028{{7*7}}{% raw %}]]>"""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> NightDigest:
    folder = tmp_path_factory.mktemp("page") / "frames"
    frames(folder, count=4)
    return digest_night(folder, wish=DigestWish((Target("M 31", 10.68, 41.27),)))


class Reader(HTMLParser):
    """Elements, attributes and texts of a page."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def spoiled(night: NightDigest) -> NightDigest:
    """The same night with hostile text wherever text comes from elsewhere."""
    told = [replace(one, target=Target(HOSTILE, 10.68, 41.27, HOSTILE)) for one in night.targets]
    told.append(replace(told[0], reason=HOSTILE, seen_reason=HOSTILE, drift=None, guided=None, unguided=None))
    rows = [replace(row, name=HOSTILE, reason=HOSTILE) for row in night.frames]
    rows[0] = replace(
        rows[0],
        picture=None,
        stars=replace(rows[0].stars, reason=HOSTILE, summary=None),  # type: ignore[type-var]
    )
    book = NightBook(Path())
    event = book.refused("x", []).model_copy(update={"reason": HOSTILE, "time_utc": HOSTILE})
    return replace(
        night,
        folder=HOSTILE,
        targets=tuple(told),
        frames=tuple(rows),
        notices=(Notice("x", HOSTILE),),
        refusals=(event,),
    )


def test_hostile_text_adds_no_element_no_attribute_and_no_character_that_steers(night: NightDigest) -> None:
    clean, page = Reader(night_page(night)), night_page(spoiled(night))
    dirty = Reader(page)
    assert steering(page.replace("\r", "")) == set()
    assert set(dirty.tags) <= {*clean.tags, "ul", "li"}
    assert {name for name, _ in dirty.attributes} <= {name for name, _ in clean.attributes}
    assert not any(name.startswith("on") for name, _ in dirty.attributes)
    assert page.count("<script") == 2
    assert page.count("<img") == len(night.frames) - 1
    assert "49" not in [text.strip() for text in dirty.texts]
    assert sum("<img src=x onerror=alert(1)>" in text for text in dirty.texts) >= 8
    assert any("{{7*7}}" in text for text in dirty.texts)


def test_the_table_of_the_sliders_is_json_that_ends_no_script(night: NightDigest) -> None:
    page = night_page(spoiled(night))
    found = re.search(r'<script type="application/json" id="curves">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    assert not set("<>&") & set(found[1])
    content = json.loads(found[1])
    assert len(content["targets"]) == 2
    guided = content["targets"][0]["guided"]
    assert len(guided["t"]) == len(guided["m"]) == len(guided["m95"])
    assert content["targets"][1]["guided"] is None


def policy_of(page: str) -> dict[str, list[str]]:
    """Directives of the page's policy."""
    found = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert found is not None
    parts = [part.split() for part in found[1].replace("&#39;", "'").split(";")]
    return {part[0]: part[1:] for part in parts}


def test_the_policy_allows_this_style_this_script_and_nothing_from_outside(night: NightDigest) -> None:
    """Content Security Policy Level 3 (W3C): hashes are of the text between the tags, SHA-256 in base64."""
    page = night_page(night)
    policy = policy_of(page)
    assert policy["default-src"] == ["'none'"]
    assert policy["img-src"] == ["data:"]
    for tag, directive in (("style", "style-src"), ("script", "script-src")):
        inner = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert len(inner) == 1
        digest = base64.b64encode(hashlib.sha256(inner[0].encode()).digest()).decode()
        assert policy[directive] == [f"'sha256-{digest}'"]
    reader = Reader(page)
    assert not {name for name, _ in reader.attributes} & {"style", "srcset", "action", "ping"}
    links = [value for name, value in reader.attributes if name in ("src", "href") and value]
    assert all(value.startswith(("data:image/jpeg;base64,", "#")) for value in links)
    assert "@import" not in page
    assert "url(http" not in page


def themes() -> dict[str, dict[str, str]]:
    """The colours of each theme, from the style sheet."""
    style = (_TEMPLATES / "night.css").read_text(encoding="utf-8")
    found: dict[str, dict[str, str]] = {}
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*--paper:[^{}]*)\}", style):
        name = " ".join(selector.split())
        found[name] = dict(re.findall(r"--(\w+): (#[0-9a-f]{6,8});", body))
    return found


def luminance(colour: str) -> float:
    """WCAG 2.2, glossary: relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_luminance_is_that_of_the_guidelines() -> None:
    """WCAG 2.2: white on black has 21 to 1; pure red on black 5.25 to 1 (0.2126 by its own definition)."""
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21.0)
    assert (luminance("#ff0000") + 0.05) / 0.05 == pytest.approx(5.252)


def test_there_are_light_dark_red_and_print() -> None:
    assert len(themes()) == 5


@pytest.mark.parametrize("theme", themes())
@pytest.mark.parametrize("ink", ["ink", "soft", "strong", "other"])
@pytest.mark.parametrize("ground", ["paper", "card"])
def test_every_colour_of_text_stands_out(theme: str, ink: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1."""
    colours = themes()[theme]
    a, b = luminance(colours[ink]), luminance(colours[ground])
    assert (max(a, b) + 0.05) / (min(a, b) + 0.05) >= 4.5


def test_red_on_black_is_red() -> None:
    """No green or blue to speak of, so that eyes stay used to the dark; common practice, no source."""
    (red,) = [colours for name, colours in themes().items() if "red" in name]
    for colour in red.values():
        r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert max(g, b) <= max(0.35 * r, 0)


def test_every_picture_has_words(night: NightDigest) -> None:
    page = night_page(night)
    images = re.findall(r"<img[^>]*>", page)
    assert len(images) == len(night.frames)
    assert all(re.search(r'alt="Frame [^"]{20,}"', image) for image in images)
    charts = re.findall(r"<svg[^>]*role=\"img\"[^>]*aria-labelledby=\"(\S+) (\S+)\"", page)
    assert len(charts) >= 4
    for pair in charts:
        assert all(page.count(f'id="{name}"') == 1 for name in pair)
    others = re.findall(r"<svg(?![^>]*role=)[^>]*>", page)
    assert all('aria-hidden="true"' in other for other in others)


def test_no_identifier_stands_twice(night: NightDigest) -> None:
    names = [value for name, value in Reader(night_page(night)).attributes if name == "id"]
    assert len(names) == len(set(names))


def shown(page: str) -> str:
    return " ".join(" ".join(Reader(page).texts).split())


def test_what_is_unknown_is_said(night: NightDigest) -> None:
    bare: dict[str, Any] = {"optics": None, "optics_source": None}
    dark = [replace(row, stars=None, picture=None) for row in night.frames]
    told = tuple(replace(one, guided=None, unguided=None) for one in night.targets)
    page = shown(night_page(replace(night, **bare, frames=tuple(dark), targets=told)))
    assert "Exposures are unknown" in page
    assert "No frame can be shown." in page
    assert "No target was named" in shown(night_page(replace(night, targets=())))


def test_a_mount_that_was_moved_or_turned_is_said_first(night: NightDigest) -> None:
    turned = replace(night, standing="turned since", turned_since=(0.5, -0.25), correction=None)
    for changed, words in (
        (turned, "no frame shows what came of it"),
        (replace(night, standing="moved since", correction=None), "nobody knows how it stands now"),
    ):
        page = shown(night_page(changed))
        assert "No longer so." in page
        assert words in page.casefold()
        assert "The axis pointed" in page
        assert "What is left to do" not in page


def test_size_is_bounded_for_a_thousand_frames(night: NightDigest) -> None:
    many = tuple(replace(night.frames[0], name=f"frame {i}", picture=None, stars=None) for i in range(1000))
    page = night_page(replace(night, frames=many))
    assert "And 400 more" in page
    assert len(page) < 400_000
