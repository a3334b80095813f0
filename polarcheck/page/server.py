"""The server of the page: one thread of its own, so that the watch never waits for a phone."""

from __future__ import annotations

import asyncio
import logging
import secrets
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import h11

from polarcheck.errors import InputError
from polarcheck.page.addresses import is_near, local_addresses
from polarcheck.page.exchange import NOT_FOUND, BadRequestError, Exchange
from polarcheck.page.pace import Pace
from polarcheck.page.routes import Routes
from polarcheck.page.streams import Streams

if TYPE_CHECKING:
    from polarcheck.watch import Answer, EveningSchema

__all__ = ["PageServer"]

_LOOPBACK = "127.0.0.1"
_TOKEN_BYTES = 16  # 128 bits: not to be guessed, and short enough for a code of 40 columns
_MOST_ASKING = 40  # connections whose request is under way
_SEND_BUFFER = 32768
_UNREAD_MS = 15000  # a phone that left the network is given up after so long
_END_S = 0.75  # in which pages are told that the evening is over, and what is under way is finished
_LOOK_S = 0.05  # no lock and no wake-up between the watch and the server: that would make the watch wait

_log = logging.getLogger(__name__)


class PageServer:
    """Shows the evening as a page, and takes the user's answers from it.

    Nothing is opened before `start`, and no connection is ever made to anywhere. The page is served on this machine
    alone, or on the local network under an address that cannot be guessed.

    Parameters
    ----------
    on_answer : callable
        Takes each `Answer`. It is called in the server's thread and must return at once: put the answer into a
        queue.
    lan : bool
        Whether phones on the local network may come, or this machine alone.
    port : int
        The port to serve on; 0 for any that is free. One that is taken is replaced by any that is free.

    Examples
    --------
    >>> from queue import SimpleQueue
    >>> answers = SimpleQueue()
    >>> server = PageServer(answers.put)
    >>> server.addresses  # none before it is started
    []
    """

    def __init__(self, on_answer: Callable[[Answer], None], *, lan: bool = False, port: int = 0) -> None:
        self._lan, self._port = lan, port
        self._streams = Streams()
        self._token = secrets.token_urlsafe(_TOKEN_BYTES)
        self._routes = Routes.with_page(self._token, self._streams, on_answer)
        self._newest: EveningSchema | None = None
        self._published: EveningSchema | None = None
        self._socket: socket.socket | None = None
        self._ended = False
        self._thread: threading.Thread | None = None
        self._visits: set[asyncio.Task[None]] = set()
        self._asking: dict[asyncio.Task[None], None] = {}

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def addresses(self) -> list[str]:
        """Where the page is now, the likeliest address for a phone first; each holds the token.

        They are looked up anew each time: a network may come and go. Empty before `start`, after `close`, and while
        a page for the local network has none.
        """
        if self._socket is None:
            return []
        port = self._socket.getsockname()[1]
        hosts = local_addresses() if self._lan else [_LOOPBACK]
        return [f"http://{host}:{port}/{self._token}/" for host in hosts]

    def start(self) -> Self:
        """Begin to serve, in a thread of its own, and return this server.

        Raises
        ------
        InputError
            No port can be had, or it is started already.
        """
        if self._thread is not None:
            raise InputError("the page is served already")
        self._socket = _listening("0.0.0.0" if self._lan else _LOOPBACK, self._port)
        started = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(started,), name="page", daemon=True)
        self._thread.start()
        started.wait()
        return self

    def publish(self, view: EveningSchema) -> None:
        """Show a new state on all pages that are open, and on those that come later.

        Returns at once, whatever the pages do: the state is only left where the server looks for it, twenty times a
        second; of states that follow each other more closely only the newest is sent. Before `start` it is kept.
        Give ``sound`` whether or not the terminal rings: each page has a switch of its own, off at first.

        Parameters
        ----------
        view : EveningSchema
            It is not changed afterwards (it cannot be: it is frozen).
        """
        self._newest = view

    def close(self) -> None:
        """Tell the pages that the evening is over, and stop serving; a second call does nothing."""
        if self._thread is not None and self._socket is not None:
            self._ended = True
            self._thread.join(4 * _END_S)
            self._socket.close()
            self._socket = None

    def _run(self, started: threading.Event) -> None:
        try:
            asyncio.run(self._serve(started))
        finally:
            started.set()

    async def _serve(self, started: threading.Event) -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(_note)
        accepting = asyncio.create_task(self._accept(loop))
        self._show_newest()
        started.set()
        while not self._ended:
            self._show_newest()
            await asyncio.sleep(_LOOK_S)
        accepting.cancel()
        self._show_newest()
        self._streams.end()
        await asyncio.wait({accepting, *self._visits}, timeout=_END_S)
        for visit in self._visits:
            visit.cancel()
        await asyncio.gather(accepting, *self._visits, return_exceptions=True)

    def _show_newest(self) -> None:
        newest = self._newest
        if newest is not None and newest is not self._published:
            self._published = newest
            self._streams.publish(newest)

    async def _accept(self, loop: asyncio.AbstractEventLoop) -> None:
        """Let clients in, at a pace that leaves the processor to the watch."""
        assert self._socket is not None
        pace = Pace()
        while True:
            await asyncio.sleep(pace.wait_s(loop.time()))
            try:
                connection, peer = await loop.sock_accept(self._socket)
            except OSError:  # it left again, or the system has no more files to give
                continue
            self._let_in(asyncio.create_task(self._visit(connection, peer[0])))

    def _let_in(self, visit: asyncio.Task[None]) -> None:
        """Keep a visit in mind; where too many are asking, the one that takes longest is shown out."""
        self._visits.add(visit)
        visit.add_done_callback(self._visits.discard)
        visit.add_done_callback(self._no_longer_asking)
        self._asking[visit] = None
        if len(self._asking) > _MOST_ASKING:
            longest = next(iter(self._asking))
            del self._asking[longest]  # at once: the next one to come must not find it here still
            longest.cancel()

    def _no_longer_asking(self, visit: asyncio.Task[None]) -> None:
        self._asking.pop(visit, None)

    async def _visit(self, connection: socket.socket, peer: str) -> None:
        own = _names(connection)
        if not own or not is_near(peer):
            return connection.close()
        _prepare(connection)
        reader, writer = await asyncio.open_connection(sock=connection, limit=_SEND_BUFFER // 4)
        writer.transport.set_write_buffer_limits(high=_SEND_BUFFER // 2)
        try:
            exchange = Exchange(reader, writer)
            await self._converse(exchange, own)
            await exchange.close()
        except (OSError, TimeoutError, h11.ProtocolError):
            pass
        finally:
            writer.transport.abort()

    async def _converse(self, exchange: Exchange, own: frozenset[str]) -> None:
        try:
            request = await exchange.request()
        except BadRequestError:
            await exchange.respond(NOT_FOUND)
            return
        visit = asyncio.current_task()
        assert visit is not None
        self._no_longer_asking(visit)
        self._show_newest()
        await self._routes.answer(exchange, request, own)


def _listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens, on any free port where the wanted one is taken."""
    try:
        listening = socket.create_server((host, port), backlog=64)
    except OSError as error:
        if port:
            return _listening(host, 0)
        raise InputError(f"the page cannot be served: the system gives no port ({error.strerror})") from error
    listening.setblocking(False)
    return listening


def _names(connection: socket.socket) -> frozenset[str]:
    """Return what a client may call this end of a connection; nothing where it came from afar."""
    try:
        host, port = connection.getsockname()
    except OSError:  # it left again
        return frozenset()
    hosts = {host, "localhost"} if host == _LOOPBACK else {host} if is_near(host) else set()
    return frozenset(f"{name}:{port}" for name in hosts)


def _prepare(connection: socket.socket) -> None:
    """Keep little for a client that does not read, and give up one that is gone."""
    with suppress(OSError):
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if hasattr(socket, "TCP_USER_TIMEOUT"):  # Linux
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, _UNREAD_MS)


def _note(loop: asyncio.AbstractEventLoop, what: dict[str, Any]) -> None:
    """Keep what goes wrong with a client off the screen of the evening."""
    _log.debug("%s: %r", what.get("message"), what.get("exception"))
