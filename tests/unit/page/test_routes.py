"""What follows from a request, whoever carries it: `test_server.py` asks the same over real connections."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

import pytest

from polarcheck.page.exchange import NOT_FOUND, Request, Response
from polarcheck.page.routes import Routes
from polarcheck.page.streams import MOST_STREAMS, Streams
from polarcheck.watch import Answer
from tests.evenings import evening

pytestmark = pytest.mark.allow_hosts(
    ["127.0.0.1"]
)  # a loop of asyncio wakes itself through a pair of sockets
OWN = frozenset({"192.168.1.20:80"})
HOST = {"host": "192.168.1.20:80"}


@dataclass
class Heard:
    """Stands for an exchange; leaves after so many pieces of a stream."""

    pieces: int = 1
    responses: list[Response] = field(default_factory=list)
    stream: bytes = b""

    async def respond(self, response: Response) -> None:
        self.responses.append(response)

    async def begin_stream(self) -> None:
        pass

    async def send_piece(self, piece: bytes) -> None:
        self.stream += piece
        self.pieces -= 1
        if not self.pieces:
            raise ConnectionResetError


def routes(streams: Streams | None = None) -> tuple[Routes, list[Answer]]:
    answers: list[Answer] = []
    return Routes.with_page("t0ken", streams or Streams(), answers.append), answers


def asked(target: str, method: str = "GET", body: bytes = b"", **headers: str) -> Response:
    heard = Heard()
    made, _ = routes()
    given = {name.replace("_", "-"): value for name, value in headers.items()}
    request = Request(method, target, {**HOST, **given}, body)
    asyncio.run(made.answer(heard, request, OWN))  # type: ignore[arg-type]
    (response,) = heard.responses
    return response


def test_the_page_is_behind_the_token() -> None:
    assert asked("/t0ken/").status == 200
    assert asked("/t0ken").status == 200
    assert asked("/t0ken/", origin="http://192.168.1.20:80").status == 200


@pytest.mark.parametrize(
    "target",
    [
        "t0ken/",
        "/T0ken/",
        "/t0ken2/",
        "/t0ke/",
        "/t0ken//",
        "//t0ken/",
        "/t0ken/./",
        "/%740ken/",
        "",
        "*",
        "/",
    ],
)
def test_no_other_path_leads_there(target: str) -> None:
    assert asked(target) == NOT_FOUND


@pytest.mark.parametrize("token", ["t\xf8ken", "t0ken\x00", "\xff" * 5000])
def test_tokens_of_any_bytes_are_compared(token: str) -> None:
    """A request line is read as Latin-1."""
    assert asked(f"/{token}/") == NOT_FOUND


def test_a_link_from_elsewhere_opens_the_page_and_nothing_else() -> None:
    """What a click in another program or page brings is the page; its state is for the page alone."""
    assert asked("/t0ken/", sec_fetch_site="cross-site").status == 200
    assert asked("/t0ken/state", sec_fetch_site="cross-site") == NOT_FOUND
    assert asked("/t0ken/state", sec_fetch_site="same-origin").status == 200


def test_a_page_that_leaves_gives_its_place_back() -> None:
    streams = Streams()
    streams.publish(evening(3))
    made, _ = routes(streams)
    for number in range(3 * MOST_STREAMS):
        heard = Heard()
        request = Request("GET", f"/t0ken/events?page=p{number}", HOST)
        with pytest.raises(ConnectionResetError):
            asyncio.run(made.answer(heard, request, OWN))  # type: ignore[arg-type]
        assert b'"number":3,' in heard.stream
        assert heard.responses == []
