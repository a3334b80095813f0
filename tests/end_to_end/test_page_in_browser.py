"""The page for the phone in a real browser: what it shows, says and refuses, at the sizes of phones and desktops."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest

from polarcheck.page import PageServer
from polarcheck.watch import Answer
from tests.browser import Browser, Page, needs_browser
from tests.evenings import HOSTILE, LAST, NOW, evening, trend

pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])

PHONE, SMALL, LYING, DESKTOP = (390, 844), (360, 640), (844, 390), (1280, 800)
TAKEN = {"azimuth": -1.75, "altitude": 0.62, "as_told": True}
REFUSED = {
    **LAST,
    "counted": False,
    "part": "none",
    "reason": "the stars are trails of 14 px: the mount still moved",
}
LONG = "a very long name of a folder or a file that no screen of a phone can hold on one line " * 3
SHOWN = "!document.querySelector('#live').hidden"


@pytest.fixture
def answers() -> SimpleQueue[Answer]:
    return SimpleQueue()


@pytest.fixture
def server(answers: SimpleQueue[Answer]) -> Iterator[PageServer]:
    with PageServer(answers.put) as started:
        yield started


@pytest.fixture
def page(browser: Browser, server: PageServer) -> Iterator[Page]:
    opened = browser.page(*PHONE, phone=True)
    server.publish(evening(1))
    opened.open(server.addresses[0])
    opened.wait_until(SHOWN)
    yield opened
    opened.close()


def show(server: PageServer, page: Page, number: int, what: str = "turn", **other: Any) -> None:
    """Publish a state and wait until the page shows it."""
    server.publish(evening(number, what, **{"folder": f"night_{number}", **other}))
    page.wait_until(f"document.querySelector('#link').textContent.endsWith('night_{number}')")


def lighten(page: Page) -> None:
    """Change to the light theme, which asks twice."""
    page.click("#theme")
    page.click("#theme")


def text(page: Page, selector: str) -> str:
    return str(page.run(f"document.querySelector({json.dumps(selector)}).innerText"))


_LINES = """((elements) => [...elements].map((element) => {
  const range = document.createRange();
  range.selectNodeContents(element);
  return range.getClientRects().length;
}))"""


@needs_browser
def test_page_is_quiet_and_asks_for_nothing_but_itself(page: Page, server: PageServer) -> None:
    for number, now in enumerate(NOW, 2):
        show(server, page, number, now)
    page.browser.listen(0.3)
    assert page.messages == []
    assert {address.partition("?")[0] for address in page.requests} == {
        server.addresses[0],
        server.addresses[0] + "events",
    }


@needs_browser
@pytest.mark.parametrize("theme", ["red", "light"])
@pytest.mark.parametrize("size", [PHONE, SMALL, LYING, DESKTOP])
def test_every_state_fits_and_can_be_read(
    page: Page, server: PageServer, size: tuple[int, int], theme: str
) -> None:
    """Contrast at least 4.5 (WCAG 2.2, 1.4.3); targets of 44 CSS pixels (2.5.5); nothing runs out to the side."""
    page.resize(*size, phone=size != DESKTOP)
    if theme == "light":
        lighten(page)
    other = {"warnings": [{"code": "x", "text": LONG}], "trend": trend(*[60 / 1.5**i for i in range(30)])}
    for number, now in enumerate(NOW, 2):
        show(
            server,
            page,
            number,
            now,
            taken=TAKEN,
            **other,
            last_frame={**REFUSED, "file": LONG.replace(" ", "_")},
        )
        assert page.run("document.documentElement.scrollWidth") <= size[0]
        ratios = page.contrasts()
        assert len(ratios) > 25
        assert {what: ratio for what, ratio in ratios.items() if ratio < 4.5} == {}
    page.click("#other")
    assert page.run(f"{_LINES}(document.querySelectorAll('#said button'))") == [1] * 7  # no word is broken
    small = "[...document.querySelectorAll('button, input')].map((e) => e.getBoundingClientRect())"
    assert all(
        height >= 44 and width >= 44 for width, height in page.run(f"{small}.map((b) => [b.width, b.height])")
    )
    assert page.messages == []


@needs_browser
@pytest.mark.parametrize("size", [PHONE, SMALL, LYING, DESKTOP])
@pytest.mark.parametrize("now", ["one", "turn", "unknown"])
def test_figures_fill_the_screen_and_are_whole(
    page: Page, server: PageServer, size: tuple[int, int], now: str
) -> None:
    """On a phone 65 mm wide (390 px) the least is 9 mm: from two metres 16 arcmin, three times the five of letters
    that normal eyes just read (Snellen's, from memory). Both knobs are in one view.
    """
    page.resize(*size, phone=size != DESKTOP)
    show(server, page, 2, now)
    inside = "(e, b = e.getBoundingClientRect()) => [e.textContent, b.height, b.bottom, e.scrollWidth - e.clientWidth]"
    figures = page.run(f"[...document.querySelectorAll('.amount')].map((e) => ({inside})(e))")
    assert [figure[0] for figure in figures] == [knob["amount"] for knob in NOW[now]["knobs"]]
    for _, height, bottom, hidden in figures:
        assert height >= size[1] * (0.2 if now == "one" else 0.12)
        assert bottom <= size[1]
        assert hidden <= 0


@needs_browser
def test_both_knobs_are_told_in_order_with_their_sense(page: Page) -> None:
    knobs = page.run(
        "[...document.querySelectorAll('.knob')].map((e) => e.innerText.split('\\n').filter(Boolean))"
    )
    assert knobs == [
        ["1. azimuth knob", "axis west", "1 3/4", "turns counterclockwise"],
        ["2. altitude knob", "axis up", "0.62", "turns clockwise"],
    ]


@needs_browser
def test_what_is_not_known_is_not_told(page: Page, server: PageServer) -> None:
    show(
        server,
        page,
        2,
        "unknown",
        axis=None,
        left_arcmin=None,
        goal_arcmin=None,
        trend=[],
        last_frame=None,
        taken=None,
    )
    hidden = "[...document.querySelectorAll('#said, #axis, #trend, #last')].map((e) => e.hidden)"
    assert page.run(hidden) == [True] * 4
    assert "clockwise" not in text(page, "#big")
    assert page.messages == []


@needs_browser
def test_text_from_headers_stays_text(page: Page, server: PageServer) -> None:
    """Tags, quotes, controls and marks of direction; letters that run from the right turn nothing else round."""
    elements = page.run("document.querySelectorAll('*').length")
    words = HOSTILE + "שלום"
    bad = {"sentence": words, "why": words}
    server.publish(
        evening(
            9,
            folder=words,
            now={
                **NOW["turn"],
                **bad,
                "knobs": [{**knob, "amount": HOSTILE[:6]} for knob in NOW["turn"]["knobs"]],
            },
            last_frame={**REFUSED, "file": words, "reason": words, "time_utc": words},
            warnings=[{"code": "x", "text": words}] * 2,
        )
    )
    page.wait_until("document.querySelectorAll('#warnings li').length === 2")
    assert page.run("document.querySelectorAll('*').length") == elements + 2
    assert page.run("document.querySelectorAll('b, main script').length") == 0
    shown = page.run("document.body.textContent")
    assert shown.count("<script>alert(1)</script>") == 8
    assert "\\u202e" in shown and "\\x1b" in shown
    assert not {c for c in "\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069\u200f\x1b\x00" if c in shown}
    kinds = "[...new Set([...document.querySelectorAll('p, li, .amount')].map((e) => getComputedStyle(e).unicodeBidi))]"
    assert page.run(kinds) == ["isolate"]
    assert page.messages == []


@needs_browser
@pytest.mark.parametrize(
    "attack",
    [
        "document.body.append(Object.assign(document.createElement('script'), {textContent: 'window.ran = 1'}))",
        "document.body.innerHTML = '<img src=x onerror=\"window.ran = 1\">'",
        "setTimeout('window.ran = 1')",
        "fetch('http://127.0.0.1:9/').then(() => (window.ran = 1), () => 0)",
        "document.head.append(Object.assign(document.createElement('style'), {textContent: 'body{top:1px}'}))",
        "document.body.append(Object.assign(new Image(), {src: 'http://127.0.0.1:9/x.png'}))",
        "document.body.append(Object.assign(document.createElement('iframe'), {src: 'http://127.0.0.1:9/'}))",
    ],
)
def test_policy_holds(page: Page, attack: str) -> None:
    """What got into the page in spite of all would neither run nor fetch nor send anything away."""
    thrown = page.run(f"(() => {{ try {{ {attack} }} catch (error) {{ return String(error) }} }})()")
    page.browser.listen(0.3)
    assert page.run("window.ran") is None
    assert any("Content Security Policy" in said for said in page.messages) or "Trusted" in thrown


@needs_browser
def test_page_goes_into_no_frame_of_another(browser: Browser, server: PageServer, tmp_path: Path) -> None:
    outer = tmp_path / "outer.html"
    outer.write_text(f"<iframe src='{server.addresses[0]}'></iframe>", encoding="utf-8")
    page = browser.page().open(outer)
    browser.listen(0.3)
    assert any("frame-ancestors" in said or "X-Frame-Options" in said for said in page.messages)
    page.close()


@needs_browser
def test_answers_are_sent_with_one_touch(page: Page, answers: SimpleQueue[Answer]) -> None:
    for kind in ("made", "half", "none"):
        page.click(f"[data-kind={kind}]")
        assert answers.get(timeout=5) == Answer(kind)
        page.wait_until("document.querySelector('#heard').textContent.startsWith('Taken')")


@needs_browser
def test_other_turns_are_entered_by_amount_and_sense(page: Page, answers: SimpleQueue[Answer]) -> None:
    """A phone's number pad has no minus. The sense is at first the one that was told."""
    page.click("#other")
    assert page.run("[...document.querySelectorAll('.sense')].map((e) => e.textContent)") == [
        "counterclockwise",
        "clockwise",
    ]
    page.run(
        "(() => { const f = document.querySelectorAll('fieldset input'); f[0].value = '1 1/4'; f[1].value = ',5'; })()"
    )
    page.click("fieldset:nth-of-type(2) .sense")
    page.click("#send")
    assert answers.get(timeout=5) == Answer("other", (-1.25, -0.5))
    page.wait_until("document.querySelector('#heard').textContent.startsWith('Taken')")
    page.click("#other")
    page.run("document.querySelector('fieldset input').value = 'two'")
    page.click("#send")
    assert "Turns are numbers" in text(page, "#heard")
    assert answers.empty()


@needs_browser
def test_an_answer_too_late_is_not_taken(
    page: Page, server: PageServer, answers: SimpleQueue[Answer]
) -> None:
    show(server, page, 5)
    show(server, page, 6, taken=None)
    page.run("document.querySelector('[data-kind=made]').click()")
    page.wait_until("document.querySelector('#heard').textContent.includes('look again')")
    assert answers.empty()
    assert any("409" in said for said in page.messages)


@needs_browser
def test_stale_figures_are_not_shown_as_now(browser: Browser) -> None:
    """The server falls silent: after ten seconds the page shows since when, and no figure; then it comes back."""
    with PageServer(lambda _: time.sleep(16)) as server:
        server.publish(evening(1))
        page = browser.page(*PHONE, phone=True).open(server.addresses[0])
        page.wait_until(SHOWN)
        page.click("[data-kind=half]")
        page.wait_until("!document.querySelector('#lost').hidden", 14)
        assert page.run("document.querySelector('#live').hidden")
        assert "No connection since" in text(page, "#lost")
        assert page.run("document.querySelector('#lost-since').textContent.match(/^\\d\\d:\\d\\d$/) !== null")
        assert f"It said then: {NOW['turn']['sentence']}" in text(page, "#lost")
        assert page.contrasts()["No connection since"] >= 4.5
        page.wait_until(SHOWN, 20)
        page.close()


@needs_browser
def test_the_end_is_told(page: Page, server: PageServer) -> None:
    server.close()
    page.wait_until("document.querySelector('#lost').innerText.includes('The evening was ended at')")
    assert page.run("document.querySelector('#live').hidden")


_SERVER = """
import sys, time
from polarcheck.page import PageServer
from tests.evenings import evening
server = PageServer(print, port=int(sys.argv[1])).start()
server.publish(evening(1))
print(server.addresses[0], flush=True)
time.sleep(60)
"""


def started(port: int) -> tuple[subprocess.Popen[str], str]:
    command = [sys.executable, "-c", _SERVER, str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])
    assert process.stdout is not None
    return process, process.stdout.readline().strip()


@needs_browser
def test_after_a_new_start_the_page_says_that_the_address_is_new(browser: Browser) -> None:
    """The program was killed, and started again on the same port with another token."""
    first, address = started(0)
    page = browser.page(*PHONE, phone=True).open(address)
    page.wait_until(SHOWN)
    first.kill()
    first.communicate()
    second, new = started(int(address.split(":")[2].partition("/")[0]))
    try:
        assert new.split("/")[2] == address.split("/")[2] and new != address
        page.wait_until("document.querySelector('#lost').innerText.includes('read its code again')", 25)
    finally:
        second.kill()
        second.communicate()
        page.close()


_LISTEN = """
window.heard = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.heard.push([this.frequency.value, this.type]);
  return start.call(this, when);
};
window.shaken = [];
navigator.vibrate = (pattern) => { window.shaken.push(pattern); return true; };
0
"""


@needs_browser
def test_tones_are_fewer_and_lower_as_the_error_shrinks(page: Page, server: PageServer) -> None:
    page.run(_LISTEN)
    axis = evening(1).to_dict()["axis"]
    show(server, page, 2, sound="nearer")
    assert page.run("heard") == []  # off until asked for
    page.click("#sound")
    assert text(page, "#sound") == "Sound: on"
    heard = []
    for number, (total, sound) in enumerate(
        [(60, "nearer"), (9, "nearer"), (3, "nearer"), (3, "refused"), (1, "done")], 3
    ):
        page.run("heard.length = 0")
        show(server, page, number, axis={**axis, "total_arcmin": total}, sound=sound)
        heard.append(page.run("heard"))
    counts, pitches = [len(tones) for tones in heard], [tones[0][0] for tones in heard]
    assert counts[0] > counts[1] > counts[2] > 0
    assert pitches[0] > pitches[1] > pitches[2]
    assert len({json.dumps(tones) for tones in heard}) == 5
    assert {tones[0][1] for tones in heard[:3]} & {heard[3][0][1], heard[4][0][1]} == set()
    assert len(page.run("shaken")) == 6
    page.click("#sound")
    page.run("heard.length = 0")
    show(server, page, 20, sound="done")
    assert page.run("heard") == []


@needs_browser
def test_a_state_that_comes_again_makes_no_sound(page: Page, server: PageServer) -> None:
    """On a new connection the last state is sent once more."""
    show(server, page, 2, sound="done")
    page.run(_LISTEN)
    page.click("#sound")
    page.run("heard.length = 0")
    server.publish(evening(2, folder="again", sound="done"))
    page.wait_until("document.querySelector('#link').textContent.endsWith('again')")
    assert page.run("heard") == []


@needs_browser
def test_the_theme_is_kept(page: Page, server: PageServer) -> None:
    background = "getComputedStyle(document.body).backgroundColor"
    assert page.run(background) == "rgb(0, 0, 0)"
    lighten(page)
    assert page.run(background) == "rgb(255, 255, 255)"
    page.open(server.addresses[0])
    page.wait_until(SHOWN)
    assert page.run(background) == "rgb(255, 255, 255)"
    page.click("#theme")


@needs_browser
def test_one_touch_by_mistake_makes_no_light(page: Page) -> None:
    page.click("#theme")
    assert page.run("document.documentElement.dataset.theme") == "red"
    assert text(page, "#theme") == "Bright! Again"
    page.wait_until("document.querySelector('#theme').textContent === 'Light'", 6)
    page.click("#theme")
    assert page.run("document.documentElement.dataset.theme") == "red"


@needs_browser
def test_red_theme_is_red_alone(page: Page, tmp_path: Path) -> None:
    """Neither green nor blue in any pixel, so that eyes stay used to the dark."""
    import matplotlib.image

    picture = matplotlib.image.imread(page.screenshot(tmp_path / "page.png"))
    assert picture[..., 0].max() == 1.0
    assert picture[..., 1:3].max() <= 0.02


@needs_browser
def test_page_can_be_heard(page: Page) -> None:
    """Names for those who do not see it: buttons, fields, the picture; the sentence is read when it changes."""
    tree = page.order("Accessibility.getFullAXTree")["nodes"]
    named = [
        (node["role"]["value"], node.get("name", {}).get("value", "")) for node in tree if not node["ignored"]
    ]
    assert [name for role, name in named if role in ("button", "textbox", "image", "img") and not name] == []
    pictures = [name for role, name in named if role in ("image", "img")]
    assert len(pictures) == 1 and "62.0, 31.5 (followed), 19.8 arcmin" in pictures[0]
    assert page.run("document.querySelector('#sentence').getAttribute('aria-live')") == "polite"


@needs_browser
def test_without_javascript_it_says_so(browser: Browser, server: PageServer) -> None:
    page = browser.page(*PHONE, phone=True, script=False).open(server.addresses[0])
    assert "This page needs JavaScript" in text(page, "body")
    page.close()
