"""Who may have what: the address with its token, and the checks that a browser cannot be talked out of."""

from __future__ import annotations

import hmac
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from polarcheck.page.exchange import NOT_FOUND, Exchange, Request, Response
from polarcheck.page.posted import read_posted
from polarcheck.page.resources import Resource, built_page

if TYPE_CHECKING:
    from polarcheck.page.streams import Streams
    from polarcheck.watch import Answer

__all__ = ["Routes"]

_OWN_NAME = re.compile(r"page=([A-Za-z0-9]{1,24})")
_TOO_MANY = Response(503, b"", (("Retry-After", "10"),))


@dataclass(frozen=True, slots=True)
class Routes:
    """The four things there are: the page, its state, its events, and the answers.

    Attributes
    ----------
    token : str
        The secret in the address.
    streams : Streams
        The state and who listens.
    on_answer : callable
        Takes an answer; called in the server's thread.
    page : Resource
        What is shown.
    """

    token: str
    streams: Streams
    on_answer: Callable[[Answer], None]
    page: Resource

    @classmethod
    def with_page(cls, token: str, streams: Streams, on_answer: Callable[[Answer], None]) -> Routes:
        """Return the routes to the built-in page."""
        return cls(token, streams, on_answer, built_page())

    async def answer(self, exchange: Exchange, request: Request, own: frozenset[str]) -> None:
        """Answer one request.

        Parameters
        ----------
        exchange : Exchange
            The connection.
        request : Request
            What came by it.
        own : frozenset of str
            The names under which the connection was made, for example ``192.168.1.7:8642``.
        """
        place, query = self._place(request, own)
        if place == "events" and request.method == "GET" and (name := _OWN_NAME.fullmatch(query)):
            await self._stream(exchange, name[1])
        else:
            await exchange.respond(self._response(place, request))

    def _place(self, request: Request, own: frozenset[str]) -> tuple[str | None, str]:
        """Return what is asked for by someone who may, and the query; None for anyone else."""
        path, _, query = request.target.partition("?")
        token, _, place = path.removeprefix("/").partition("/")
        known = hmac.compare_digest(token.encode(), self.token.encode())
        allowed = known and path.startswith("/") and _comes_from_the_page(request, place, own)
        return (place, query) if allowed else (None, "")

    def _response(self, place: str | None, request: Request) -> Response:
        match place, request.method:
            case "", "GET":
                kind = ("Content-Type", self.page.kind)
                return Response(200, self.page.content, (kind, ("Content-Security-Policy", self.page.policy)))
            case "state", "GET":
                return Response(200, self.streams.latest, (("Content-Type", "application/json"),))
            case "answer", "POST" if _is_json(request):
                return self._take(request.body)
        return NOT_FOUND

    def _take(self, body: bytes) -> Response:
        try:
            posted = read_posted(body)
        except ValueError as error:
            return _refusal(400, str(error))
        if not self.streams.answers_what_is_asked(posted.number):
            return _refusal(409, "these turns are no longer asked for: look again")
        self.on_answer(posted.answer)
        return Response(204)

    async def _stream(self, exchange: Exchange, page: str) -> None:
        listener = self.streams.enter(page)
        if listener is None:
            return await exchange.respond(_TOO_MANY)
        try:
            await exchange.begin_stream()
            while True:
                await exchange.send_piece(await listener.piece())
                if listener.ended:
                    return await exchange.end_stream()
        finally:
            self.streams.leave(page, listener)


def _comes_from_the_page(request: Request, place: str, own: frozenset[str]) -> bool:
    """Whether Host is an own address, and Origin, where a browser sends it, the page's.

    A name of someone else's that leads here (DNS rebinding) fails by Host, another site's script by Origin.
    """
    host, origin = request.headers.get("host", ""), request.headers.get("origin")
    if host not in own:
        return False
    if origin is None and request.method != "GET":
        return False
    site = request.headers.get("sec-fetch-site", "same-origin")
    return origin in (None, f"http://{host}") and (place == "" or site == "same-origin")


def _is_json(request: Request) -> bool:
    """Whether the body is said to be JSON, which no plain form of another site can say."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower() == "application/json"


def _refusal(status: int, why: str) -> Response:
    return Response(status, json.dumps({"error": why}).encode(), (("Content-Type", "application/json"),))
