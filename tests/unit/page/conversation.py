"""Bytes to the server and back, over loopback."""

from __future__ import annotations

import json
import socket
from urllib.parse import urlsplit

from polarcheck.page import PageServer


def place(server: PageServer) -> tuple[int, str]:
    """Port and path, with the token, of a server on this machine."""
    parts = urlsplit(server.addresses[0])
    assert parts.port is not None
    return parts.port, parts.path


def opened(server: PageServer, seconds: float = 10.0) -> socket.socket:
    return socket.create_connection(("127.0.0.1", place(server)[0]), timeout=seconds)


def sent(server: PageServer, request: bytes) -> bytes:
    """Everything that comes back until the server closes."""
    with opened(server) as connection:
        connection.sendall(request)
        return until_closed(connection)


def until_closed(connection: socket.socket) -> bytes:
    came = b""
    try:
        while piece := connection.recv(65536):
            came += piece
    except ConnectionResetError:
        pass
    return came


def request(
    server: PageServer, path: str = "", method: str = "GET", body: bytes = b"", **headers: str | None
) -> bytes:
    """A request as the page makes it; headers by keyword, None leaves one out. `path` begins with / for any other."""
    port, root = place(server)
    own = {"host": f"127.0.0.1:{port}", "origin": None}
    if method == "POST":
        own |= {"origin": f"http://127.0.0.1:{port}", "content_type": "application/json"}
        own |= {"content_length": str(len(body))}
    lines = [f"{method} {path if path.startswith('/') else root + path} HTTP/1.1"]
    lines += [f"{k.replace('_', '-')}: {v}" for k, v in {**own, **headers}.items() if v is not None]
    return "\r\n".join([*lines, "", ""]).encode("latin-1") + body


def answer(kind: str = "made", number: int = 1, **more: object) -> bytes:
    return json.dumps({"kind": kind, "number": number, **more}).encode()
