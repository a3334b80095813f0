"""The server and its clients in one loop whose clock runs ahead: who is given up when, and who is not."""

from __future__ import annotations

import asyncio
import socket
import sys
import threading
from collections.abc import Awaitable, Callable

import pytest

from polarcheck.page import PageServer
from polarcheck.page.server import _listening, _prepare
from tests.evenings import evening
from tests.unit.page.conversation import place, request
from tests.unit.page.quick_loop import now_s, run_quickly

pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])
Act = Callable[[PageServer], Awaitable[None]]


def with_server(act: Act) -> None:
    """Serve in the test's own loop: in its thread the server would wait by the clock on the wall."""

    async def run() -> None:
        server = PageServer(lambda _: None)
        server._socket = _listening("127.0.0.1", 0)
        serving = asyncio.create_task(server._serve(threading.Event()))
        try:
            await act(server)
        finally:
            server._ended = True
            await serving
            server._socket.close()

    run_quickly(run())


async def connected(server: PageServer, first: bytes) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    reader, writer = await asyncio.open_connection("127.0.0.1", place(server)[0])
    writer.write(first)
    return reader, writer


async def still_open(readers: list[asyncio.StreamReader]) -> int:
    await asyncio.sleep(1.0)
    return sum(not reader.at_eof() for reader in readers)


@pytest.mark.parametrize(("asking", "least", "most"), [(8 * 4, 32, 32), (70, 32, 56)])
def test_many_may_ask_at_a_time_but_not_any_number(asking: int, least: int, most: int) -> None:
    """Eight phones, each with four requests under way, keep each other out of nothing; of a crowd the oldest go."""

    async def act(server: PageServer) -> None:
        pairs = [await connected(server, b"GET / HTTP/1.1\r\nHost:") for _ in range(asking)]
        assert least <= await still_open([reader for reader, _ in pairs]) <= most
        assert now_s() < 3  # long before a request is given up
        assert not pairs[-1][0].at_eof()
        for _, writer in pairs:
            writer.close()

    with_server(act)


def test_a_state_is_shown_within_a_twentieth_of_a_second_and_not_looked_for_more_often() -> None:
    """As docs/page.md has it: looking twenty times a second takes 0.5 % of a core."""
    delays = []

    async def act(server: PageServer) -> None:
        reader, writer = await connected(server, request(server, "events?page=a"))
        for number in range(1, 41):
            await asyncio.sleep(0.1 + 0.0017 * number)
            server.publish(evening(number))
            begun = now_s()
            await reader.readuntil(f'"number":{number},'.encode())
            delays.append(now_s() - begun)
        writer.close()

    with_server(act)
    assert 0.04 < max(delays) < 0.06


@pytest.mark.parametrize(("late_s", "is_answered"), [(0.5, True), (1.2, False)])
def test_what_is_under_way_at_the_end_has_a_moment_more(late_s: float, is_answered: bool) -> None:
    """Half a second is what a phone far from the router may take for a round trip (common practice, no source); and
    whoever ends the evening is not kept waiting by one who sends nothing.
    """

    async def act(server: PageServer) -> None:
        whole = request(server)
        reader, writer = await connected(server, whole[:20])
        await asyncio.sleep(1.0)
        server._ended = True
        await asyncio.sleep(late_s)
        writer.write(whole[20:])
        assert ((await reader.read(12)) == b"HTTP/1.1 200") == is_answered
        writer.close()

    with_server(act)


@pytest.mark.skipif(
    sys.platform != "linux", reason="how much a system keeps for a connection is its own affair"
)
def test_little_waits_for_a_page_that_does_not_read() -> None:
    """A phone in a pocket: a dozen states wait for it and not a hundred, then it is given up."""

    async def act(server: PageServer) -> None:
        loop = asyncio.get_running_loop()
        deaf = socket.socket()
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.setblocking(False)
        await loop.sock_connect(deaf, ("127.0.0.1", place(server)[0]))
        await loop.sock_sendall(deaf, request(server, "events?page=deaf"))
        for number in range(1, 61):
            server.publish(evening(number, folder="f" * 2000))
            await asyncio.sleep(0.06)
        await asyncio.sleep(12.0)
        came = b""
        with deaf:
            while piece := await loop.sock_recv(deaf, 65536):
                came += piece
        assert 12 <= came.count(b"event: state") <= 22  # of 3.7 kB

    with_server(act)


@pytest.mark.skipif(not hasattr(socket, "TCP_USER_TIMEOUT"), reason="Linux can be told alone")
def test_a_phone_that_left_the_network_keeps_its_place_until_its_page_has_noticed() -> None:
    """A page says so after ten seconds of silence; one that comes back must find a place soon after.

    Sending to nobody cannot be had without a firewall, so that what the system is told must do.
    """
    with (
        socket.create_server(("127.0.0.1", 0)) as listening,
        socket.create_connection(listening.getsockname()),
        listening.accept()[0] as own,
    ):
        _prepare(own)
        told_ms = own.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT)
    assert 10_000 < told_ms <= 20_000
