"""One request and its response over one connection: HTTP/1.1 with limits on size and time.

The grammar is h11's. Each connection carries one request and is then closed: nothing to keep, nothing to smuggle.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field

import h11

from polarcheck.page.posted import LONGEST_BODY
from polarcheck.page.resources import SAFE_HEADERS

__all__ = ["NOT_FOUND", "BadRequestError", "Exchange", "Request", "Response"]

_LONGEST_HEAD = 8192  # request line and headers; browsers send under 1000 bytes
_REQUEST_S = 5.0  # a request that takes longer is given up
_SEND_S = 5.0  # a client that takes longer to read is dropped
_LINGER_S = 0.3  # what is still being sent is read for so long, lest the response be lost with it
_LINGER_BYTES = 65536


class BadRequestError(Exception):
    """What came is no request, or too large a one."""


@dataclass(frozen=True, slots=True)
class Request:
    """A request, nothing of it believed.

    Attributes
    ----------
    method : str
        For example ``GET``.
    target : str
        Path and query as sent.
    headers : mapping of str to str
        By name in lower case; of repeated ones the last.
    body : bytes
        Short, see `LONGEST_BODY`.
    """

    method: str
    target: str
    headers: Mapping[str, str]
    body: bytes = b""


@dataclass(frozen=True, slots=True)
class Response:
    """A whole response.

    Attributes
    ----------
    status : int
        Of HTTP.
    body : bytes
        As sent.
    headers : tuple of pairs
        Beside those that all have.
    """

    status: int
    body: bytes = b""
    headers: tuple[tuple[str, str], ...] = field(default=())


NOT_FOUND = Response(404)
"""The one refusal: it is the same for all who do not know the address, whatever they ask."""


class Exchange:
    """One connection with one request.

    Parameters
    ----------
    reader, writer : asyncio streams
        Of the connection.
    """

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer
        self._protocol = h11.Connection(h11.SERVER, max_incomplete_event_size=_LONGEST_HEAD)

    async def request(self) -> Request:
        """Return the request.

        Raises
        ------
        BadRequestError
            It is none, or too large.
        TimeoutError
            It did not come in time.
        ConnectionError
            The client left.
        """
        try:
            async with asyncio.timeout(_REQUEST_S):
                return await self._whole_request()
        except h11.RemoteProtocolError as error:
            raise BadRequestError from error

    async def _whole_request(self) -> Request:
        head = await self._next_event()
        if not isinstance(head, h11.Request):
            raise ConnectionResetError
        body = b""
        while isinstance(event := await self._next_event(), h11.Data):
            body += bytes(event.data)
            if len(body) > LONGEST_BODY:
                raise BadRequestError
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in head.headers}
        return Request(head.method.decode("latin-1"), head.target.decode("latin-1"), headers, body)

    async def _next_event(self) -> h11.Event | type[h11.PAUSED]:
        while (event := self._protocol.next_event()) is h11.NEED_DATA:
            self._protocol.receive_data(await self._reader.read(4096))
        return event  # type: ignore[return-value]

    async def respond(self, response: Response) -> None:
        """Send a whole response."""
        headers = [*SAFE_HEADERS, *response.headers, ("Content-Length", str(len(response.body)))]
        self._begin(response.status, headers)
        self._write(h11.Data(data=response.body))
        self._write(h11.EndOfMessage())
        await self._drain()
        await self._linger()

    async def begin_stream(self) -> None:
        """Send the head of a response whose pieces come when they come."""
        self._begin(200, [*SAFE_HEADERS, ("Content-Type", "text/event-stream")])
        await self._drain()

    async def send_piece(self, piece: bytes) -> None:
        """Send a piece of a stream.

        Raises
        ------
        TimeoutError
            The client does not read.
        ConnectionError
            The client left.
        """
        self._write(h11.Data(data=piece))
        await self._drain()

    async def end_stream(self) -> None:
        """Send the end of a stream."""
        self._write(h11.EndOfMessage())
        await self._drain()

    async def close(self) -> None:
        """Close the connection once all of it is sent.

        Raises
        ------
        TimeoutError
            The client does not read.
        ConnectionError
            The client left.
        """
        self._writer.close()
        async with asyncio.timeout(_SEND_S):
            await self._writer.wait_closed()

    def _begin(self, status: int, headers: list[tuple[str, str]]) -> None:
        last = ("Connection", "close")  # where h11 puts it by itself for old clients
        self._write(h11.Response(status_code=status, headers=[*headers, last], reason=b""))

    def _write(self, event: h11.Event) -> None:
        self._writer.write(self._protocol.send(event) or b"")

    async def _drain(self) -> None:
        async with asyncio.timeout(_SEND_S):
            await self._writer.drain()

    async def _linger(self) -> None:
        """Read what is left for a moment: a connection closed over unread bytes may lose the response."""
        left = _LINGER_BYTES
        try:
            async with asyncio.timeout(_LINGER_S):
                self._writer.write_eof()
                while left > 0 and (piece := await self._reader.read(4096)):
                    left -= len(piece)
        except (TimeoutError, OSError):
            pass
