"""A real browser without a window, for pages: it is driven through two pipes, so that no socket is opened.

The pages speak through the browser's own protocol (Chrome DevTools Protocol, stable domains Page, Runtime, Log,
Network and Emulation). Contrast is that of the Web Content Accessibility Guidelines 2.2: relative luminance and
contrast ratio in its glossary, at least 4.5 by success criterion 1.4.3.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import pytest

PROGRAM = shutil.which("chromium") or shutil.which("chromium-browser")
Test = TypeVar("Test", bound=Callable[..., object])

_FLAGS = (
    "--headless=new",
    "--no-sandbox",  # tests may run as root
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--mute-audio",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--remote-debugging-pipe",
)
_STARTER = "import os, sys; r, w = map(int, sys.argv[1:3]); os.dup2(r, 3); os.dup2(w, 4); os.execv(sys.argv[3], sys.argv[3:])"
"""The browser reads its orders from descriptor 3 and answers on 4."""

_CONTRASTS = """
(() => {
  const part = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const colour = (text) => {
    const n = text.match(/[\\d.]+/g).map(Number);
    return n.length < 4 ? [...n, 1] : n;
  };
  const over = (top, below) => [0, 1, 2].map((i) => top[i] * top[3] + below[i] * (1 - top[3]));
  const behind = (e) => {
    const own = colour(getComputedStyle(e).backgroundColor);
    if (own[3] === 1) return own;
    return over(own, e.parentElement ? behind(e.parentElement) : [255, 255, 255]);
  };
  const found = [];
  for (const e of document.querySelectorAll("body, body *")) {
    const text = [...e.childNodes].filter((n) => n.nodeType === 3).map((n) => n.data.trim()).join(" ").trim();
    const style = getComputedStyle(e);
    if (!text || !e.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true })) continue;
    const below = behind(e);
    const ink = style.getPropertyValue(e instanceof SVGElement ? "fill" : "color");
    const front = ink.startsWith("rgb") ? over(colour(ink), below) : below;
    const [a, b] = [light(front), light(below)];
    found.push([text.slice(0, 60), (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)]);
  }
  return found;
})()
"""


def needs_browser(test: Test) -> Test:
    """Mark a test that runs a browser; it skips, visibly, where there is none."""
    skip = pytest.mark.skipif(PROGRAM is None, reason="chromium is not installed")
    marked: Test = pytest.mark.browser(skip(test))
    return marked


class Browser:
    """A browser of its own profile, ended with the ``with`` block.

    Attributes
    ----------
    pages : list of Page
        All that were opened.
    """

    def __init__(self) -> None:
        assert PROGRAM is not None
        self._profile = tempfile.TemporaryDirectory(prefix="browser", ignore_cleanup_errors=True)
        orders, self._write = os.pipe()
        self._read, answers = os.pipe()
        command = [sys.executable, "-I", "-c", _STARTER, str(orders), str(answers), PROGRAM, *_FLAGS]
        self._process = subprocess.Popen(
            [*command, f"--user-data-dir={self._profile.name}", "about:blank"],
            pass_fds=(orders, answers),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(orders)
        os.close(answers)
        self._number = 0
        self._unread = b""
        self.pages: list[Page] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the browser and remove its profile."""
        try:
            self.order("Browser.close", seconds=5.0)
            self._process.wait(10.0)
        except (OSError, TimeoutError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait(10.0)
        os.close(self._write)
        os.close(self._read)
        self._profile.cleanup()

    def page(self, width: int = 1280, height: int = 800, *, phone: bool = False, script: bool = True) -> Page:
        """Return an empty page.

        Parameters
        ----------
        width, height : int
            Of the view, in CSS pixels; twice as many are drawn.
        phone : bool
            Whether it is touched, and narrow pages are laid out as on a phone.
        script : bool
            Whether scripts run.
        """
        target = self.order("Target.createTarget", url="about:blank")["targetId"]
        session = self.order("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session)
        self.pages.append(page)
        for domain in ("Page", "Runtime", "Log", "Network"):
            page.order(f"{domain}.enable")
        page.resize(width, height, phone=phone)
        page.order("Emulation.setTouchEmulationEnabled", enabled=phone)
        page.order("Emulation.setScriptExecutionDisabled", value=not script)
        page.order("Emulation.setFocusEmulationEnabled", enabled=True)  # pages behind others draw, too
        return page

    def order(
        self, method: str, session: str | None = None, seconds: float = 30.0, **given: Any
    ) -> dict[str, Any]:
        """Send one order and return its result; what happens meanwhile goes to the pages."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": given}
        content = json.dumps(message | ({"sessionId": session} if session else {})).encode() + b"\0"
        while content:
            content = content[os.write(self._write, content) :]
        end = time.monotonic() + seconds
        while True:
            answer = self._receive(end)
            if answer is None:
                raise TimeoutError(f"the browser did not answer {method}")
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer["error"])
                result: dict[str, Any] = answer["result"]
                return result

    def listen(self, seconds: float) -> None:
        """Take in what happens for a while."""
        end = time.monotonic() + seconds
        while self._receive(end) is not None:
            pass

    def _receive(self, end: float) -> dict[str, Any] | None:
        while b"\0" not in self._unread:
            if not select.select([self._read], [], [], max(0.0, end - time.monotonic()))[0]:
                return None
            piece = os.read(self._read, 1 << 16)
            if not piece:
                raise OSError("the browser ended")
            self._unread += piece
        first, _, self._unread = self._unread.partition(b"\0")
        message: dict[str, Any] = json.loads(first)
        for page in self.pages:
            if message.get("sessionId") == page.session and "method" in message:
                page.happened(message["method"], message["params"])
        return message


class Page:
    """One page of the browser, and what it did.

    Attributes
    ----------
    messages : list of str
        What the console says: errors, warnings, violations of the content security policy, exceptions.
    requests : list of str
        Addresses that were asked for, ``data:`` and ``blob:`` left out.
    """

    def __init__(self, browser: Browser, session: str) -> None:
        self.browser, self.session = browser, session
        self.messages: list[str] = []
        self.requests: list[str] = []
        self._loaded = False

    def order(self, method: str, **given: Any) -> dict[str, Any]:
        """Send an order for this page and return its result."""
        return self.browser.order(method, self.session, **given)

    def happened(self, method: str, what: dict[str, Any]) -> None:
        """Keep what the browser tells of this page."""
        if method == "Runtime.consoleAPICalled":
            self.messages.append(" ".join(str(arg.get("value", arg)) for arg in what["args"]))
        elif method == "Runtime.exceptionThrown":
            details = what["exceptionDetails"]
            self.messages.append(details.get("exception", {}).get("description", details["text"]))
        elif method == "Log.entryAdded":
            self.messages.append(f"{what['entry']['text']} {what['entry'].get('url', '')}".strip())
        elif method == "Network.requestWillBeSent":
            address = what["request"]["url"]
            self.requests += [] if address.startswith(("data:", "blob:")) else [address]
        elif method == "Network.webSocketCreated":
            self.requests.append(what["url"])
        elif method == "Page.loadEventFired":
            self._loaded = True

    def resize(self, width: int, height: int, *, phone: bool = False) -> None:
        """Give the view another size, in CSS pixels."""
        size = {"width": width, "height": height, "deviceScaleFactor": 2, "mobile": phone}
        self.order("Emulation.setDeviceMetricsOverride", **size)

    def open(self, address: str | Path, seconds: float = 30.0) -> Self:
        """Open an address or a file and wait until it is loaded."""
        self._loaded = False
        self.order("Page.navigate", url=address.as_uri() if isinstance(address, Path) else address)
        end = time.monotonic() + seconds
        while not self._loaded and time.monotonic() < end:
            self.browser.listen(0.05)
        assert self._loaded, f"{address} was not loaded"
        return self

    def run(self, script: str) -> Any:
        """Return the value of an expression, a promise's when it has come; it counts as a touch by the user."""
        result = self.order(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True, userGesture=True
        )
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        return result["result"].get("value")

    def wait_until(self, script: str, seconds: float = 10.0) -> None:
        """Wait until an expression is true."""
        end = time.monotonic() + seconds
        while not self.run(f"Boolean({script})"):
            assert time.monotonic() < end, f"never true: {script}"
            self.browser.listen(0.05)

    def click(self, selector: str) -> None:
        """Click in the middle of the first element that a CSS selector finds, as a mouse does."""
        where = self.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            " e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect();"
            " return [b.x + b.width / 2, b.y + b.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.order(
                "Input.dispatchMouseEvent", type=kind, x=where[0], y=where[1], button="left", clickCount=1
            )

    def media(self, **features: str) -> None:
        """Have the page see a medium: ``media(prefers_color_scheme="dark")``, or ``media(type="print")``."""
        kind = features.pop("type", "")
        given = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.order("Emulation.setEmulatedMedia", media=kind, features=given)

    def close(self) -> None:
        """Close the page; `messages` and `requests` stay."""
        self.order("Page.close")

    def screenshot(self, path: Path, *, whole: bool = False) -> Path:
        """Write a PNG picture of the view, or of the whole page, and return its path."""
        picture = self.order("Page.captureScreenshot", format="png", captureBeyondViewport=whole)["data"]
        path.write_bytes(base64.b64decode(picture))
        return path

    def contrasts(self) -> dict[str, float]:
        """Return the contrast ratio of each text that is to be seen, the least of equal texts."""
        found: dict[str, float] = {}
        for text, ratio in self.run(_CONTRASTS):
            found[text] = min(ratio, found.get(text, ratio))
        return found
