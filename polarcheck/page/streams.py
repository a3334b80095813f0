"""The latest state, and the pages that listen for it by server-sent events (HTML Standard, section 9.2)."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any

from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.watch import EveningSchema

__all__ = ["MOST_STREAMS", "Listener", "Streams"]

MOST_STREAMS = 8
"""Pages that may be open at a time."""

_BEAT_S = 4.0
_LONGEST_TEXT = 2000
_BEAT = b"event: beat\ndata: {}\n\n"
_END = b"event: end\ndata: {}\n\n"
_RETRY = b"retry: 2000\n\n"


class Listener:
    """One page that is open.

    Only the newest state waits for it: one that reads slowly misses states, and holds nothing up.
    """

    def __init__(self, first: bytes) -> None:
        self._waiting = _RETRY + first
        self._news = asyncio.Event()
        self._news.set()
        self.ended = False

    def tell(self, piece: bytes) -> None:
        """Have a piece sent next, in place of one that still waits.

        Parameters
        ----------
        piece : bytes
            A whole event.
        """
        self._waiting = piece
        self._news.set()

    def end(self, piece: bytes = b"") -> None:
        """Have the stream ended, after a last piece."""
        self.ended = True
        self.tell(piece)

    async def piece(self) -> bytes:
        """Return what to send next; while nothing happens, a beat every four seconds."""
        try:
            async with asyncio.timeout(_BEAT_S):
                await self._news.wait()
        except TimeoutError:
            return _BEAT
        self._news.clear()
        return self._waiting


class Streams:
    """The latest state and all who listen. Used in the server's own thread.

    Attributes
    ----------
    latest : bytes
        The state as JSON; null before the first.
    """

    def __init__(self) -> None:
        self.latest = b"null"
        self._listeners: dict[str, Listener] = {}
        self._number = self._asked_since = 0
        self._asked: tuple[Any, ...] = ()

    def publish(self, view: EveningSchema) -> None:
        """Take a new state and tell all pages.

        Parameters
        ----------
        view : EveningSchema
            Its texts are made printable once more.
        """
        asked = (view.taken is None, view.axis and view.axis.time_utc, len(view.trend))
        if asked != self._asked:
            self._asked, self._asked_since = asked, view.number
        self._number = view.number
        self.latest = json.dumps(_shown(view.to_dict()), ensure_ascii=True, separators=(",", ":")).encode()
        for listener in self._listeners.values():
            listener.tell(self._event())

    def answers_what_is_asked(self, number: int) -> bool:
        """Whether an answer was given to the turns that are asked for now.

        Parameters
        ----------
        number : int
            Of the view that the user saw.
        """
        return bool(self._asked) and not self._asked[0] and self._asked_since <= number <= self._number

    def enter(self, page: str) -> Listener | None:
        """Let a page listen; one that comes back takes its old place.

        Parameters
        ----------
        page : str
            What the page calls itself.

        Returns
        -------
        Listener or None
            None where as many as may be are there.
        """
        old = self._listeners.pop(page, None)
        if old is not None:
            old.end()
        if len(self._listeners) >= MOST_STREAMS:
            return None
        self._listeners[page] = listener = Listener(self._event())
        return listener

    def leave(self, page: str, listener: Listener) -> None:
        """Forget a page, unless it has come back meanwhile.

        Parameters
        ----------
        page : str
            What the page calls itself.
        listener : Listener
            What `enter` gave.
        """
        if self._listeners.get(page) is listener:
            del self._listeners[page]

    def end(self) -> None:
        """Tell all pages that the evening is over."""
        for listener in self._listeners.values():
            listener.end(_END)

    def _event(self) -> bytes:
        return b"event: state\ndata: " + self.latest + b"\n\n"


def _shown(thing: Any) -> Any:
    """Return the same with every text printable."""
    if isinstance(thing, str):
        return printable(thing, _LONGEST_TEXT)
    if isinstance(thing, dict):
        return {key: _shown(value) for key, value in thing.items()}
    return [_shown(value) for value in thing] if isinstance(thing, list) else thing
