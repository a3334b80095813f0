"""The evening on one screen of the terminal, redrawn in place."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from rich.console import Console
from rich.live import Live
from rich.text import Text

from polarcheck import report, watch
from polarcheck.cli.parsing import turns
from polarcheck.errors import InputError

if TYPE_CHECKING:
    from polarcheck.night import Event
    from polarcheck.watch import Answer, EveningSchema

__all__ = ["Screen", "Theme", "can_draw"]

Theme = Literal["red", "plain", "none"]

_TONES: dict[Theme, dict[str, str]] = {
    "red": {
        "large": "bold rgb(235,0,0) on black",
        "head": "bold rgb(235,0,0) on black",
        "text": "rgb(215,0,0) on black",
        "faint": "rgb(180,0,0) on black",
        "alarm": "bold rgb(235,0,0) on black",
        "code": "rgb(255,255,255) on black",
    },
    "plain": {"large": "bold", "head": "bold", "text": "", "faint": "dim", "alarm": "bold", "code": ""},
    "none": dict.fromkeys(("large", "head", "text", "faint", "alarm", "code"), ""),
}
_BELLS = {"nearer": 1, "refused": 2, "done": 3}
_BELL_GAP_S = 0.2
_CODE_S = 30.0  # for which the page's code stays whatever happens
_ANSWERS: dict[str, Literal["made", "half", "none"]] = {"m": "made", "h": "half", "n": "none"}
_LONGEST_ENTRY = 20
_ENTER, _ESCAPE, _ERASE = ("\r", "\n"), "\x1b", ("\x7f", "\b")


def can_draw() -> bool:
    """Whether standard output is a terminal on which a cursor can be moved."""
    return sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


class Screen:
    """Draws the state where it was drawn before; only what has changed makes it draw.

    Parameters
    ----------
    theme : {"red", "plain", "none"}
    sound : bool
        Whether to ring the terminal's bell.
    has_keys : bool
        Whether keys are heard.
    code, addresses : sequence of str
        Of the page, shown by the key p. Where there is a code they are shown first: until a key or half a minute has
        passed and there is something to do.
    note : str
        A line about the page.
    """

    def __init__(
        self,
        theme: Theme,
        *,
        sound: bool,
        has_keys: bool,
        code: Sequence[str] = (),
        addresses: Sequence[str] = (),
        note: str = "",
    ) -> None:
        self._console = Console(highlight=False, no_color=None if theme != "none" else True)
        self._tones = _TONES["none" if os.environ.get("NO_COLOR") else theme]
        self._live = Live(console=self._console, screen=True, auto_refresh=False)
        self._sound, self._has_keys, self._note = sound, has_keys, note
        self._code, self._shows_code = [*code, *addresses], bool(code)
        self._shown_first = self._shows_code
        self._begun = time.monotonic()
        self._entry: str | None = None
        self._view: EveningSchema | None = None
        self._drawn: tuple[int, int] | None = None

    def begin(self) -> None:
        """Take the terminal's other screen."""
        self._live.start()
        self._draw()

    def end(self) -> None:
        """Give the terminal back as it was, with the last words left on it."""
        if self._live.is_started:
            self._live.stop()
            if self._view is not None:
                self._console.print(Text(report.standing_line(self._view)))

    def event(self, event: Event, view: EveningSchema) -> None:
        """What happens is drawn with the state."""

    def view(self, view: EveningSchema) -> None:
        """Draw a new state, and ring for it."""
        self._view = view
        if self._live.is_started:
            self._draw()
            self._ring(view.sound)

    def look(self) -> None:
        """Draw again if the terminal has another size now, or the page's code has been there for long enough."""
        size = self._console.size
        is_over = self._shows_code and self._has_something and time.monotonic() - self._begun > _CODE_S
        if is_over and self._shown_first:
            self._shows_code = self._shown_first = False
        if self._live.is_started and (is_over or (size.width, size.height) != self._drawn):
            self._draw()

    @property
    def _has_something(self) -> bool:
        """Whether there is more to show than that frames are awaited."""
        return self._view is not None and self._view.axis is not None

    def pressed(self, key: str) -> Answer | None:
        """Take a key; return an answer if it makes one."""
        if self._shows_code or (key == "p" and self._code and self._entry is None):
            self._shows_code, self._shown_first = not self._shows_code, False
            self._draw()
            return None
        answer = self._typed(key) if self._entry is not None else self._chosen(key)
        self._draw()
        return answer

    def _chosen(self, key: str) -> Answer | None:
        if key == "o":
            self._entry = ""
            return None
        kind = _ANSWERS.get(key.lower())
        return None if kind is None else watch.Answer(kind)

    def _typed(self, key: str) -> Answer | None:
        entry = self._entry or ""
        if key in _ENTER:
            try:
                answer = watch.Answer("other", turns(entry))
            except (InputError, ValueError):
                return None  # it stays there to be mended
            self._entry = None
            return answer
        if key == _ESCAPE:
            self._entry = None
        elif key in _ERASE:
            self._entry = entry[:-1]
        elif key in "0123456789.,/+- " and len(entry) < _LONGEST_ENTRY:
            self._entry = entry + key
        return None

    def _draw(self) -> None:
        size = self._console.size
        self._drawn = (size.width, size.height)
        blocks = (self._console.encoding or "").lower().startswith("utf")
        paper = report.Paper(size.width, size.height, blocks, self._entry, self._has_keys, self._note)
        if self._shows_code:
            lines = [("code", line) for line in self._code[: size.height]]
        elif self._view is not None:
            lines = [(str(tone), line) for tone, line in report.screen_lines(self._view, paper)]
        else:
            lines = []
        lines += [("text", "")] * (size.height - len(lines))
        text = Text(no_wrap=True, end="")
        for i, (tone, line) in enumerate(lines):
            text.append(line.ljust(size.width) + ("\n" if i < len(lines) - 1 else ""), self._tones[tone])
        self._live.update(text, refresh=True)

    def _ring(self, sound: str | None) -> None:
        """One stroke: nearer; two: a frame was refused; three: done."""
        for i in range(_BELLS.get(sound or "", 0) if self._sound else 0):
            time.sleep(_BELL_GAP_S if i else 0.0)
            self._console.bell()
