"""The browser of the tests sees what it is there to see: each kind of fault on a page is noticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.browser import Browser, needs_browser

PAGE = """<!doctype html><html lang="en"><meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<meta http-equiv="Content-Security-Policy" content="{policy}"><title>t</title><style>{style}</style>
<body><p id="a">text</p>{body}</body></html>"""


def written(folder: Path, body: str = "", policy: str = "", style: str = "") -> Path:
    path = folder / "page.html"
    path.write_text(PAGE.format(body=body, policy=policy, style=style), encoding="utf-8")
    return path


@needs_browser
def test_a_plain_page_says_nothing_and_asks_for_itself_alone(browser: Browser, tmp_path: Path) -> None:
    path = written(tmp_path)
    page = browser.page().open(path)
    assert page.messages == []
    assert page.requests == [path.as_uri()]
    assert page.run("document.querySelector('#a').textContent") == "text"
    assert page.screenshot(tmp_path / "page.png").read_bytes()[:4] == b"\x89PNG"


@needs_browser
@pytest.mark.parametrize(
    ("body", "policy", "said"),
    [
        ("<script>console.error('by hand')</script>", "", "by hand"),
        ("<script>throw new Error('thrown')</script>", "", "thrown"),
        ("<script>1</script>", "default-src 'none'", "Content Security Policy"),
        ("<img src='data:image/png;base64,AAAA'>", "default-src 'none'", "Content Security Policy"),
    ],
)
def test_faults_are_heard(browser: Browser, tmp_path: Path, body: str, policy: str, said: str) -> None:
    page = browser.page().open(written(tmp_path, body, policy))
    browser.listen(0.2)
    assert said in " ".join(page.messages)


@needs_browser
@pytest.mark.parametrize("body", ["<img src='{}'>", "<script>fetch('{}').catch(() => 0)</script>"])
def test_requests_that_leave_are_seen(browser: Browser, tmp_path: Path, body: str) -> None:
    address = "http://nowhere.invalid/x"
    page = browser.page().open(written(tmp_path, body.format(address)))
    browser.listen(0.2)
    assert address in page.requests


@needs_browser
def test_contrast_is_that_of_the_guidelines(browser: Browser, tmp_path: Path) -> None:
    """Black on white is 21 to 1, the largest there is (WCAG 2.2, glossary: contrast ratio); #767676 on white is
    4.54, the lightest grey that passes 4.5 (common practice, by the formula of the same entry).
    """
    body = "<p style='color:#767676'>grey</p><p hidden>gone</p><p style='color:#0008'>half</p>"
    found = browser.page().open(written(tmp_path, body, style="body{color:#000;background:#fff}")).contrasts()
    assert found["text"] == pytest.approx(21.0)
    assert found["grey"] == pytest.approx(4.54, abs=0.005)
    assert 3.0 < found["half"] < 5.0
    assert "gone" not in found


@needs_browser
def test_scripts_can_be_off_and_clicks_are_felt(browser: Browser, tmp_path: Path) -> None:
    body = "<button onclick='this.textContent = 2'>1</button><noscript>none</noscript>"
    page = browser.page(390, 844, phone=True).open(written(tmp_path, body))
    page.click("button")
    page.wait_until("document.querySelector('button').textContent === '2'")
    assert page.run("innerWidth") == 390
    still = browser.page(script=False).open(written(tmp_path, "<noscript>none</noscript>"))
    assert still.run("document.body.innerText").split() == ["text", "none"]
