"""The page of a night in a real browser: silent, closed to the outside, readable in each theme, its sliders right."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser import Browser, Page, needs_browser
from tests.commands import answered, run
from tests.told_nights import told_night

THEMES = ["light", "dark", "red"]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("told")
    told_night(folder / "evening")
    made = run("report", folder / "evening", "--target", "M31", "--out", folder / "night.html")
    assert made.exit_code == 0, made.output
    return folder / "night.html"


@pytest.fixture
def page(browser: Browser, written: Path) -> Iterator[Page]:
    opened = browser.page(1280, 900).open(written)
    yield opened
    assert opened.messages == []
    assert {address for address in opened.requests if address.split("#")[0] != written.as_uri()} == set()
    opened.close()


@needs_browser
@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("width", "phone"), [(390, True), (1280, False)])
def test_each_theme_is_readable_on_a_phone_and_at_a_desk(
    browser: Browser, written: Path, theme: str, width: int, phone: bool
) -> None:
    page = browser.page(width, 844, phone=phone).open(f"{written.as_uri()}#{theme}")
    page.run("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.messages == []
    assert page.run("document.documentElement.scrollWidth") <= width
    contrasts = page.contrasts()
    assert len(contrasts) > 150
    assert {text: ratio for text, ratio in contrasts.items() if ratio < 4.5} == {}
    assert page.run("document.documentElement.dataset.theme") == theme
    page.close()


@needs_browser
@pytest.mark.parametrize(("scheme", "paper"), [("light", "rgb(251, 250, 245)"), ("dark", "rgb(20, 23, 26)")])
def test_it_looks_as_the_device_does_unless_told(page: Page, scheme: str, paper: str) -> None:
    page.media(prefers_color_scheme=scheme)
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    assert page.run(ground) == paper
    page.click('input[value="red"]')
    assert page.run(ground) == "rgb(0, 0, 0)"
    page.click('input[value=""]')
    assert page.run(ground) == paper


@needs_browser
def test_in_red_no_pixel_is_green_or_blue(browser: Browser, written: Path, tmp_path: Path) -> None:
    from PIL import Image

    page = browser.page(390, 2000, phone=True).open(f"{written.as_uri()}#red")
    page.run("document.querySelector('#targets').scrollIntoView()")
    picture = Image.open(page.screenshot(tmp_path / "red.png")).convert("RGB")
    _, green, blue = (channel.getextrema()[1] for channel in picture.split())
    assert green <= 100
    assert blue <= 100
    page.close()


def said(page: Page, kind: str, what: str) -> str:
    text: str = page.run(f"document.querySelector('[data-kind={kind}][data-what={what}]').textContent")
    return text


def moved(page: Page, slider: str, value: str) -> None:
    page.run(
        f"(() => {{ const s = document.getElementById('{slider}'); s.value = {value};"
        " s.dispatchEvent(new Event('input', {bubbles: true})); })()"
    )


def seconds(text: str) -> float:
    number, unit = text.split()[:2]
    return float(number) * {"s": 1, "min": 60, "h": 3600}[unit]


@needs_browser
@pytest.mark.parametrize("pixels", [0.5, 2.0])
def test_the_slider_tells_what_the_command_tells(page: Page, written: Path, pixels: float) -> None:
    """Two per cent: three digits are shown, and the table is read between its rows."""
    evening = written.parent / "evening"
    page.wait_until("!document.querySelector('.sliders').hidden")
    moved(page, "tolerance", f"JSON.parse(curves.textContent).tolerances.indexOf({pixels})")
    report, _ = answered("report", evening)
    error = report["findings"][-1]["error"]
    for kind in ("guided", "unguided"):
        answer, _ = answered(
            *("exposure", f"--error={error['azimuth_arcmin']},{error['altitude_arcmin']}"),
            *("--site", "47.3,11.2,900", "--target", "M31", "--at", report["findings"][-1]["epoch_utc"]),
            *("--rig", evening / "rig.toml", f"--{kind}", "--tolerance", f"{pixels}px"),
        )
        if answer["limit_s"] is None:
            assert said(page, kind, "longest").startswith("no limit")
        else:
            assert seconds(said(page, kind, "longest")) == pytest.approx(answer["limit_s"], rel=0.02)


@needs_browser
def test_sliders_answer_the_keyboard_and_say_so(page: Page) -> None:
    before = said(page, "unguided", "motion")
    page.run("document.getElementById('exposure').focus()")
    for kind in ("keyDown", "keyUp"):
        page.order("Input.dispatchKeyEvent", type=kind, key="ArrowRight", windowsVirtualKeyCode=39)
    page.wait_until(f"document.getElementById('exposure-said').textContent === {'2.5 min'!r}")
    assert said(page, "unguided", "motion") != before
    assert page.run("document.getElementById('exposure').getAttribute('aria-valuetext')") == "2.5 min"


@needs_browser
def test_without_script_the_numbers_stand_there(browser: Browser, written: Path) -> None:
    page = browser.page(390, 844, phone=True, script=False).open(written)
    assert page.messages == []
    text = written.read_text(encoding="utf-8")
    assert text.count('data-what="longest"') == 4
    assert 'data-what="longest"></td>' not in text
    page.close()


@needs_browser
def test_it_prints_light_on_a_few_sheets(page: Page) -> None:
    page.click('input[value="red"]')
    page.media(type="print")
    assert page.run("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    assert page.run("getComputedStyle(document.querySelector('.sliders')).display") == "none"
    assert {text for text, ratio in page.contrasts().items() if ratio < 4.5} == set()
    printed = page.order("Page.printToPDF", printBackground=False, preferCSSPageSize=True)["data"]
    assert 3 <= base64.b64decode(printed).count(b"/Type /Page\n") <= 12


@needs_browser
def test_what_a_header_says_runs_nothing(browser: Browser, tmp_path: Path) -> None:
    from tests.commands import frames

    paths = frames(tmp_path, count=3)
    paths[0].rename(tmp_path / "<img src=x onerror=alert(1)>\u202e.fits")
    paths[1].rename(tmp_path / "<svg onload=alert(2)>{{7*7}}.fits")
    assert run("report", tmp_path, "--out", tmp_path / "night.html").exit_code == 0
    page = browser.page().open(tmp_path / "night.html")
    browser.listen(0.3)
    assert page.messages == []
    assert page.run("document.querySelectorAll('img[src=x], [onerror], [onload]').length") == 0
    assert page.run("document.body.textContent.includes('<img src=x onerror=alert(1)>')")
    assert not page.run("document.body.textContent.includes('\u202e')")
    page.close()
