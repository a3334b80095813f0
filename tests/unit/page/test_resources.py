"""What is served: built in, and under a policy that lets nothing else run."""

from __future__ import annotations

import base64
import hashlib
import re

from polarcheck.page.resources import SAFE_HEADERS, built_page


def inside(element: str) -> str:
    found = re.search(rf"<{element}>(.*?)</{element}>", built_page().content.decode(), re.DOTALL)
    assert found
    return found[1]


def test_policy_allows_style_and_script_of_the_page_by_hash_and_nothing_else() -> None:
    """Content Security Policy Level 3, section 2.3.1: the hash is that of the text between the tags."""
    policy = dict(part.split(" ", 1) for part in built_page().policy.split("; "))
    for element in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(inside(element).encode()).digest()).decode()
        assert policy[f"{element}-src"] == f"'sha256-{digest}'"
    assert policy["default-src"] == policy["frame-ancestors"] == policy["form-action"] == "'none'"
    assert policy["connect-src"] == "'self'"
    assert "unsafe" not in built_page().policy


def test_page_refers_to_nothing() -> None:
    page = built_page().content.decode()
    assert set(re.findall(r"https?://[^\"'` ]+", page)) == {
        "http://www.w3.org/2000/svg"
    }  # a name, not an address
    assert re.findall(r"(?:src|href)=\"([^\"]*)\"", page) == ["data:,"]
    assert "@import" not in page and "url(" not in page


def test_text_reaches_the_page_as_text_alone() -> None:
    """The script has no way to make markup of text."""
    for sink in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "Function(",
        "DOMParser",
    ):
        assert sink not in inside("script")


def test_no_server_is_named() -> None:
    names = {name.lower() for name, _ in SAFE_HEADERS}
    assert not names & {"server", "x-powered-by", "date"}
    assert ("Cache-Control", "no-store") in SAFE_HEADERS
