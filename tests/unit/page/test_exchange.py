"""One request, one response: limits of size and time, over a pair of sockets; h11's client reads what comes."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from typing import TypeVar

import h11
import pytest

from polarcheck.page.exchange import NOT_FOUND, BadRequestError, Exchange, Response
from tests.unit.page.quick_loop import now_s, run_quickly

pytestmark = pytest.mark.allow_hosts(
    ["127.0.0.1"]
)  # a loop of asyncio wakes itself through a pair of sockets
T = TypeVar("T")
LOST_TWICE_S, LOST_THRICE_S = 3.0, 7.0
"""When what was lost is sent again: 1 s later, then twice as long each time (RFC 6298, sections 2.1 and 5.5)."""


def between(act: Callable[[Exchange, socket.socket], Awaitable[T]]) -> T:
    """Do something with the two ends of a connection."""

    async def run() -> T:
        ours, theirs = socket.socketpair()
        theirs.setblocking(False)
        reader, writer = await asyncio.open_connection(sock=ours, limit=4096)
        try:
            return await act(Exchange(reader, writer), theirs)
        finally:
            writer.transport.abort()
            theirs.close()
            await asyncio.sleep(0)

    return run_quickly(run())


async def all_that_came(end: socket.socket) -> bytes:
    came = b""
    while piece := await asyncio.get_running_loop().sock_recv(end, 65536):
        came += piece
    return came


def test_a_request_in_pieces_is_whole() -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        asked = asyncio.create_task(exchange.request())
        for byte in b"POST /a?b HTTP/1.1\r\nHost: x\r\nX-Y:  z \r\nContent-Length: 3\r\n\r\nabc":
            client.send(bytes([byte]))
            await asyncio.sleep(0)
        request = await asked
        assert (request.method, request.target, request.body) == ("POST", "/a?b", b"abc")
        assert request.headers == {"host": "x", "x-y": "z", "content-length": "3"}

    between(act)


@pytest.mark.parametrize(
    "sent",
    [
        b"no request\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"y" * 10_000,
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 1001\r\n\r\n" + b"a" * 1001,
    ],
)
def test_no_request_and_too_large_a_one(sent: bytes) -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(sent)
        with pytest.raises(BadRequestError):
            await exchange.request()

    between(act)


def test_the_longest_request_is_taken() -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        asked = asyncio.create_task(exchange.request())
        client.send(b"POST / HTTP/1.1\r\nHost: a\r\nX: " + b"y" * 8000)
        await asyncio.sleep(0.05)  # all of that is read, and is no whole head yet
        client.send(b"\r\nContent-Length: 1000\r\n\r\n" + b"a" * 1000)
        assert len((await asked).body) == 1000

    between(act)


@pytest.mark.parametrize(("late_s", "is_whole"), [(LOST_TWICE_S + 0.2, True), (LOST_THRICE_S, False)])
def test_a_request_may_be_lost_twice_on_its_way_and_not_more(late_s: float, is_whole: bool) -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(b"GET / HTTP/1.1\r\nHost:")
        asked = asyncio.create_task(exchange.request())
        await asyncio.sleep(late_s)
        client.send(b" a\r\n\r\n")
        if is_whole:
            assert (await asked).headers == {"host": "a"}
        else:
            with pytest.raises(TimeoutError):
                await asked

    between(act)


def test_a_client_that_leaves_is_no_request() -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.shutdown(socket.SHUT_WR)
        with pytest.raises(ConnectionError):
            await exchange.request()

    between(act)


def test_a_client_that_does_not_read_is_given_up_after_what_two_losses_take() -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
        await exchange.request()
        for wait in (exchange.respond(Response(200, b"x" * 10_000_000)), exchange.close()):
            begun = now_s()
            with pytest.raises(TimeoutError):
                await wait
            assert LOST_TWICE_S < now_s() - begun < LOST_THRICE_S

    between(act)


def test_a_response_is_not_lost_over_what_is_still_being_sent() -> None:
    """A connection that is closed over unread bytes is reset, and what was sent with it is lost (RFC 9112, 9.6)."""

    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"y" * 40_000)
        with pytest.raises(BadRequestError):
            await exchange.request()
        _, came = await asyncio.gather(exchange.respond(NOT_FOUND), all_that_came(client))
        assert came.startswith(b"HTTP/1.1 404 ")
        assert came.endswith(b"Content-Length: 0\r\nConnection: close\r\n\r\n")

    between(act)


def test_nobody_who_goes_on_sending_is_listened_to_for_long() -> None:
    """A quarter of a second is a slow round trip of a local network (common practice, no source): what was sent
    before the response came is on its way no longer. Whoever never ends has half a second.
    """

    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(b"no request\r\n\r\n")
        with pytest.raises(BadRequestError):
            await exchange.request()
        begun = now_s()
        await exchange.respond(NOT_FOUND)
        assert 0.25 < now_s() - begun < 0.5

    between(act)


def test_what_was_under_way_is_read_and_a_flood_is_not() -> None:
    """65535 bytes may be under way before the first is acknowledged (RFC 9293, section 3.1: a window of 16 bits)."""

    async def act(_: Exchange, __: socket.socket) -> None:
        ours, theirs = socket.socketpair()
        reader, writer = asyncio.StreamReader(), (await asyncio.open_connection(sock=ours))[1]
        reader.feed_data(b"x" * 200_000)
        reader.feed_eof()
        await Exchange(reader, writer).respond(NOT_FOUND)
        assert 65_535 <= 200_000 - len(await reader.read()) <= 100_000
        writer.transport.abort()
        theirs.close()

    between(act)


def test_pieces_of_a_stream_arrive_as_they_were_sent() -> None:
    async def act(exchange: Exchange, client: socket.socket) -> None:
        client.send(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
        await exchange.request()
        await exchange.begin_stream()
        for piece in (b"data: 1\n\n", b"data: 2\n\n"):
            await exchange.send_piece(piece)
        await exchange.end_stream()
        reader = h11.Connection(h11.CLIENT)
        reader.send(h11.Request(method="GET", target="/", headers=[("Host", "a")]))
        reader.send(h11.EndOfMessage())
        reader.receive_data(await asyncio.get_running_loop().sock_recv(client, 65536))
        head = reader.next_event()
        assert isinstance(head, h11.Response)
        assert (b"content-type", b"text/event-stream") in list(head.headers)
        data = b""
        while isinstance(event := reader.next_event(), h11.Data):
            data += bytes(event.data)
        assert data == b"data: 1\n\ndata: 2\n\n"
        assert isinstance(event, h11.EndOfMessage)

    between(act)
