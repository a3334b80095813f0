"""The server over loopback: what it gives to whom, and that nobody else learns anything or holds it up."""

from __future__ import annotations

import contextlib
import hmac
import json
import random
import socket
import threading
import time
from collections.abc import Iterator
from queue import SimpleQueue
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.errors import InputError
from polarcheck.page import PageServer
from polarcheck.page.server import (
    _names,
)  # what a phone may call this machine has no other outcome to look at
from polarcheck.page.streams import MOST_STREAMS
from polarcheck.watch import Answer
from tests.evenings import evening
from tests.unit.page.conversation import answer, opened, place, request, sent, until_closed

pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])


@pytest.fixture
def answers() -> SimpleQueue[Answer]:
    return SimpleQueue()


@pytest.fixture
def server(answers: SimpleQueue[Answer]) -> Iterator[PageServer]:
    with PageServer(answers.put) as started:
        started.publish(evening(1))
        yield started


def status(response: bytes) -> int:
    return int(response.split(b" ", 2)[1])


def headers(response: bytes) -> dict[str, str]:
    lines = response.partition(b"\r\n\r\n")[0].decode().split("\r\n")[1:]
    return {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}


def content(response: bytes) -> bytes:
    return response.partition(b"\r\n\r\n")[2]


def test_page_comes_with_its_policy_and_with_headers_that_keep_it_to_itself(server: PageServer) -> None:
    response = sent(server, request(server))
    assert status(response) == 200
    assert content(response).startswith(b"<!doctype html>")
    given = headers(response)
    assert "default-src 'none'" in given["content-security-policy"]
    assert "frame-ancestors 'none'" in given["content-security-policy"]
    assert given["x-content-type-options"] == "nosniff"
    assert given["referrer-policy"] == "no-referrer"
    assert given["cache-control"] == "no-store"
    assert "server" not in given


def test_state_is_json(server: PageServer) -> None:
    response = sent(server, request(server, "state"))
    assert headers(response)["content-type"] == "application/json"
    assert json.loads(content(response)) == evening(1).to_dict()


REFUSALS: dict[str, Any] = {
    "no token": {"path": "/"},
    "wrong token": {"path": "/AAAAAAAAAAAAAAAAAAAAAA/"},
    "empty token": {"path": "//state"},
    "an icon": {"path": "/favicon.ico"},
    "a file of the user's": {"path": "/../../../etc/hostname"},
    "a file behind the token": {"path": "../../etc/hostname"},
    "a file of the package": {"path": "page.js"},
    "unknown path": {"path": "nothing"},
    "events of a page without a name": {"path": "events"},
    "events of a page with a strange name": {"path": "events?page=a%0a"},
    "HEAD": {"method": "HEAD"},
    "PUT": {"method": "PUT"},
    "DELETE": {"method": "DELETE", "path": "state"},
    "OPTIONS": {"method": "OPTIONS"},
    "TRACE": {"method": "TRACE"},
    "made up": {"method": "MOST"},
    "reading an answer": {"path": "answer"},
    "posting the state": {"method": "POST", "path": "state", "body": answer()},
    "no host": {"host": None},
    "another host": {"host": "night.example"},
    "own name without port": {"host": "127.0.0.1"},
    "another port": {"host": "127.0.0.1:1"},
    "a name that leads here": {"host": "rebound.example:{port}"},
    "another site's script": {"path": "state", "origin": "http://night.example"},
    "a page without an origin": {"path": "state", "origin": "null"},
    "another scheme": {"path": "state", "origin": "https://127.0.0.1:{port}"},
    "said to be another site": {"path": "state", "sec_fetch_site": "cross-site"},
    "said to be a sister site": {"path": "events?page=a", "sec_fetch_site": "same-site"},
    "answer without origin": {"method": "POST", "path": "answer", "body": answer(), "origin": None},
    "answer of another site": {
        "method": "POST",
        "path": "answer",
        "body": answer(),
        "origin": "http://night.example",
    },
    "answer as a form": {"method": "POST", "path": "answer", "body": answer(), "content_type": "text/plain"},
    "answer of no kind": {"method": "POST", "path": "answer", "body": answer(), "content_type": None},
    "answer too long": {"method": "POST", "path": "answer", "body": answer() + b" " * 2000},
    "answer with a wrong token": {
        "method": "POST",
        "path": "/AAAAAAAAAAAAAAAAAAAAAA/answer",
        "body": answer(),
    },
    "long headers": {"cookie": "x" * 20_000},
    "long path": {"path": "/" + "x" * 20_000},
}
RAW = {
    "nothing but ends of lines": b"\r\n\r\n\r\n\r\n",
    "noise": bytes(random.Random(1).randbytes(3000)),
    "another protocol": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 500,
    "another version": b"GET / HTTP/9.9\r\nHost: a\r\n\r\n",
    "no version": b"GET /\r\n\r\n",
    "two hosts": b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    "two lengths": b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab",
    "negative length": b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
    "endless length": b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 99999999999999999999\r\n\r\n"
    + b"a" * 5000,
    "chunks that are none": b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nZZ\r\n",
    "a great chunk": b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nFFFFFFF\r\n"
    + b"a" * 5000,
    "folded header": b"GET / HTTP/1.1\r\nHost: a\r\n b\r\n\r\n",
    "zero in a header": b"GET / HTTP/1.1\r\nHost: a\x00b\r\n\r\n",
    "proxy": b"GET http://night.example/ HTTP/1.1\r\nHost: night.example\r\n\r\n",
    "tunnel": b"CONNECT night.example:443 HTTP/1.1\r\nHost: night.example:443\r\n\r\n",
    "old version": b"GET / HTTP/1.0\r\n\r\n",
    "upgrade": b"GET / HTTP/1.1\r\nHost: a\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n",
}


def made(server: PageServer, given: dict[str, Any]) -> bytes:
    port = place(server)[0]
    filled: dict[str, Any] = {k: v.format(port=port) if isinstance(v, str) else v for k, v in given.items()}
    return request(server, **filled)


@pytest.mark.parametrize("case", REFUSALS)
def test_every_refusal_is_the_same(server: PageServer, answers: SimpleQueue[Answer], case: str) -> None:
    """Byte for byte, whatever was asked: it tells neither what there is nor who serves it."""
    plain = sent(server, b"GET / HTTP/1.1\r\nHost: night.example\r\n\r\n")
    assert status(plain) == 404
    assert content(plain) == b""
    assert sent(server, made(server, REFUSALS[case])) == plain
    assert answers.empty()


@pytest.mark.parametrize("case", RAW)
def test_what_is_no_request_is_refused_in_the_same_way(server: PageServer, case: str) -> None:
    plain = sent(server, b"GET / HTTP/1.1\r\nHost: night.example\r\n\r\n")
    with opened(server) as connection:
        connection.sendall(RAW[case])
        connection.shutdown(socket.SHUT_WR)
        assert until_closed(connection) in (plain, b"")  # nothing at all where it ends amid the request
    assert status(sent(server, request(server))) == 200


def test_token_is_compared_in_constant_time(server: PageServer, monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[Any, Any]] = []
    true_compare = hmac.compare_digest

    def compare(a: Any, b: Any) -> bool:
        compared.append((a, b))
        return true_compare(a, b)

    monkeypatch.setattr("polarcheck.page.routes.hmac.compare_digest", compare)
    sent(server, request(server, "/wrong/state"))
    assert [a for a, _ in compared] == [b"wrong"]


def test_tokens_are_long_and_never_twice_the_same() -> None:
    """128 bits are 22 characters of base64url (RFC 4648, section 5)."""
    with PageServer(lambda _: None) as one, PageServer(lambda _: None) as two:
        tokens = [place(server)[1].strip("/") for server in (one, two)]
    assert tokens[0] != tokens[1]
    assert [len(token) for token in tokens] == [22, 22]


def test_answers_arrive(server: PageServer, answers: SimpleQueue[Answer]) -> None:
    assert status(sent(server, request(server, "answer", "POST", answer("half")))) == 204
    other = answer("other", turns=[0.5, -1.0])
    kind = "application/json; charset=utf-8"
    assert status(sent(server, request(server, "answer", "POST", other, content_type=kind))) == 204
    assert [answers.get(timeout=1), answers.get(timeout=1)] == [Answer("half"), Answer("other", (0.5, -1.0))]


def test_answers_that_mean_nothing_are_told_why_to_the_page(
    server: PageServer, answers: SimpleQueue[Answer]
) -> None:
    bad = sent(server, request(server, "answer", "POST", b"{}"))
    late = sent(server, request(server, "answer", "POST", answer(number=0)))
    assert (status(bad), status(late)) == (400, 409)
    assert "look again" in json.loads(content(late))["error"]
    assert answers.empty()


def test_an_answer_that_cannot_be_taken_ends_nothing() -> None:
    def fail(_: Answer) -> None:
        raise RuntimeError("the watch is gone")

    with PageServer(fail) as server:
        server.publish(evening(1))
        sent(server, request(server, "answer", "POST", answer()))
        assert status(sent(server, request(server))) == 200


class Listening:
    """A page that listens."""

    def __init__(self, server: PageServer, page: str = "a") -> None:
        self.connection = opened(server)
        self.connection.sendall(request(server, f"events?page={page}"))
        self.came = b""

    def until(self, text: bytes, seconds: float = 10.0) -> bytes:
        end = time.monotonic() + seconds
        while text not in self.came:
            assert time.monotonic() < end, self.came
            piece = self.connection.recv(65536)
            assert piece, self.came
            self.came += piece
        return self.came


def test_events_tell_the_last_state_at_once_then_each_new_one_and_the_end(server: PageServer) -> None:
    page = Listening(server)
    assert headers(page.until(b'"number":1,'))["content-type"] == "text/event-stream"
    server.publish(evening(2))
    page.until(b'"number":2,')
    page.until(b"event: beat\n")
    server.close()
    page.until(b"event: end\n")
    assert page.connection.recv(100) in (b"", b"0\r\n\r\n")
    page.connection.close()


def test_nine_pages_are_one_too_many(server: PageServer) -> None:
    with contextlib.ExitStack() as stack:
        pages = [Listening(server, f"p{i}") for i in range(MOST_STREAMS)]
        for page in pages:
            stack.enter_context(page.connection)
            page.until(b'"number":1,')
        assert status(sent(server, request(server, "events?page=p9"))) == 503
        again = stack.enter_context(Listening(server, "p3").connection)  # a page that was reloaded
        assert b"200" in again.recv(100)


def test_a_state_from_before_the_start_is_shown() -> None:
    server = PageServer(lambda _: None)
    server.publish(evening(4))
    assert server.addresses == []
    with server:
        assert json.loads(content(sent(server, request(server, "state"))))["number"] == 4
    assert server.addresses == []
    server.publish(evening(5))
    server.close()


def test_started_twice_or_on_a_port_that_is_taken(server: PageServer) -> None:
    with pytest.raises(InputError):
        server.start()
    with PageServer(lambda _: None, port=place(server)[0]) as second:
        assert place(second)[0] != place(server)[0]


def test_served_on_this_machine_alone_unless_asked_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    bound: list[tuple[str, int]] = []
    true_create = socket.create_server

    def create(address: tuple[str, int], **given: Any) -> socket.socket:
        bound.append(address)
        return true_create(("127.0.0.1", address[1]), **given)

    monkeypatch.setattr("polarcheck.page.server.socket.create_server", create)
    monkeypatch.setattr("polarcheck.page.server.local_addresses", lambda: ["192.168.1.20", "10.0.0.5"])
    with PageServer(lambda _: None):
        pass
    with PageServer(lambda _: None, lan=True, port=0) as server:
        hosts = [address.split(":")[1].strip("/") for address in server.addresses]
    assert bound == [("127.0.0.1", 0), ("0.0.0.0", 0)]
    assert hosts == ["192.168.1.20", "10.0.0.5"]


@pytest.mark.parametrize(
    ("address", "names"),
    [
        ("127.0.0.1", {"127.0.0.1:80", "localhost:80"}),
        ("192.168.1.20", {"192.168.1.20:80"}),
        ("93.184.216.34", set()),  # came in by an address of the open internet
    ],
)
def test_a_connection_is_called_by_the_address_it_came_to(address: str, names: set[str]) -> None:
    assert _names(SimpleNamespace(getsockname=lambda: (address, 80))) == names  # type: ignore[arg-type]


def test_nobody_who_is_slow_keeps_others_out(server: PageServer) -> None:
    """Sixty connections that never finish a request: the page still comes, and they are given up."""
    with contextlib.ExitStack() as stack:
        slow = [stack.enter_context(opened(server)) for _ in range(60)]
        for connection in slow:
            connection.sendall(b"GET / HTTP/1.1\r\nHost:")
        begun = time.monotonic()
        assert status(sent(server, request(server))) == 200
        assert time.monotonic() - begun < 5
        assert [until_closed(connection) for connection in slow] == [b""] * 60
        assert time.monotonic() - begun < 12


def test_a_page_that_does_not_read_is_dropped_and_delays_nothing(server: PageServer) -> None:
    deaf = socket.socket()
    deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    deaf.settimeout(10)
    deaf.connect(("127.0.0.1", place(server)[0]))
    deaf.sendall(request(server, "events?page=deaf"))
    listening = Listening(server, "b")
    long = evening(2, warnings=[{"code": "x", "text": "long " * 300}] * 30)
    for number in range(2, 40):
        server.publish(long.model_copy(update={"number": number}))
        listening.until(f'"number":{number},'.encode())
    time.sleep(5.5)  # what a client may take to read
    with deaf, listening.connection:
        assert b"event: end" not in until_closed(deaf)
        assert status(sent(server, request(server))) == 200


def test_publishing_takes_no_time(server: PageServer) -> None:
    """Less than a millisecond in the middle of fifty calls, where 3 microseconds were measured; with a page open."""
    page = Listening(server)
    page.until(b'"number":1,')
    taken = []
    for number in range(2, 52):
        view = evening(number)
        begun = time.perf_counter()
        server.publish(view)
        taken.append(time.perf_counter() - begun)
        time.sleep(0.002)
    page.until(b'"number":51,')
    page.connection.close()
    assert sorted(taken)[25] < 0.001


def test_nothing_is_left_when_it_is_closed() -> None:
    before = threading.active_count()
    with PageServer(lambda _: None) as server:
        server.publish(evening(1))
        page = Listening(server)
        page.until(b'"number":1,')
        port = place(server)[0]
    assert threading.active_count() == before
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=1)
    page.connection.close()
