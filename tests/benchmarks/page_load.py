"""What clients of the page cost the watch: fifty of them, and a flood of requests that are none, over loopback.

Run ``python -m tests.benchmarks.page_load`` from the project's root (``--seconds 10`` a case, at most 60). The watch does
a piece of work (Python and numpy, like that of a frame) again and again and publishes after each. The clients run in
processes of their own. They load the machine, too, so each case is run twice: with clients of the watch's own server,
and with the same clients of a server elsewhere, in another process; the difference is what the page costs the watch.
Nothing but 127.0.0.1 is spoken to, by 50 connections of a kind at a time and for the time stated. At last it prints how
long 100 states take from `publish` to a page in a real browser, where there is one (the clock is the same machine's).
"""

from __future__ import annotations

import argparse
import random
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from polarcheck.page import PageServer
from tests.browser import PROGRAM, Browser
from tests.evenings import evening

ROOT = Path(__file__).parents[2]
CLIENTS = 50
KINDS = ("listening", "malformed", "slow")
_GARBAGE = (
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 500,
    b"GET / HTTP/9.9\r\n\r\n",
    b"GET /" + b"x" * 9000 + b" HTTP/1.1\r\n\r\n",
    b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\nZZ\r\n",
    b"GET / HTTP/1.1\r\nHost: a\r\n" + b"X: y\r\n" * 500 + b"\r\n",
    b"\r\n" * 2000,
)


@dataclass
class Work:
    """How long the watch's pieces of work took, and its calls of `publish`. [s]"""

    pieces: list[float] = field(default_factory=list)
    publish: list[float] = field(default_factory=list)


def piece_of_work(rng: np.random.Generator) -> None:
    """About 50 ms: a loop in Python and linear algebra, as the reading and fitting of a frame is."""
    total = 0
    for i in range(250_000):
        total += i * i % 7
    for _ in range(20):
        np.linalg.svd(rng.normal(size=(40, 40)))


def watched(server: PageServer, seconds: float) -> Work:
    """Work, publish, and pause in turn, as a folder that fills quickly would have it."""
    work, rng, end, number = Work(), np.random.default_rng(1), time.monotonic() + seconds, 1
    while time.monotonic() < end:
        begun = time.perf_counter()
        piece_of_work(rng)
        work.pieces.append(time.perf_counter() - begun)
        view = evening(number := number + 1)
        begun = time.perf_counter()
        server.publish(view)
        work.publish.append(time.perf_counter() - begun)
        time.sleep(0.05)
    return work


def clients(kind: str, address: str, seconds: float) -> None:
    """Be fifty clients of one kind for a while."""
    parts = urlsplit(address)
    assert parts.hostname == "127.0.0.1" and parts.port is not None
    rng, end = random.Random(kind), time.monotonic() + seconds
    held: list[socket.socket] = []
    asked = f"GET {parts.path}events?page=%s HTTP/1.1\r\nHost: {parts.netloc}\r\n\r\n"
    while time.monotonic() < end:
        held = held[-CLIENTS + 1 :] if len(held) >= CLIENTS else held
        try:
            connection = socket.create_connection((parts.hostname, parts.port), timeout=1)
            held.append(connection)
            if kind == "listening":
                connection.sendall((asked % f"p{rng.randrange(60)}").encode())
            elif kind == "slow":
                connection.sendall(b"GET / HTTP/1.1\r\nHost:")
            else:
                connection.sendall(rng.choice(_GARBAGE))
                connection.close()
        except OSError:
            pass
        time.sleep(0.2 if kind == "listening" and len(held) >= CLIENTS else 0.002)


def elsewhere(seconds: float) -> None:
    """Serve a page in this process and tell its address."""
    with PageServer(lambda _: None) as server:
        server.publish(evening(1))
        print(server.addresses[0], flush=True)
        time.sleep(seconds)


def part(*arguments: str, **given: Any) -> subprocess.Popen[str]:
    """Start this module anew, as clients or as a server."""
    command = [sys.executable, "-m", "tests.benchmarks.page_load", *arguments]
    return subprocess.Popen(command, cwd=ROOT, text=True, **given)


def measured(case: str, seconds: float, *, here: bool) -> Work:
    """The watch with clients of one kind, or of all kinds at once, of its own server or of another."""
    kinds = KINDS if case == "all" else () if case == "nobody" else (case,)
    time_given = ("--seconds", str(seconds + 3))
    other = part("--client", "server", *time_given, stdout=subprocess.PIPE)
    assert other.stdout is not None
    address = other.stdout.readline().strip()
    with PageServer(lambda _: None) as server:
        server.publish(evening(1))
        asked = server.addresses[0] if here else address
        started = [other, *(part("--client", kind, "--address", asked, *time_given) for kind in kinds)]
        time.sleep(1.0)
        try:
            return watched(server, seconds)
        finally:
            for process in started:
                process.kill()
                process.communicate()


def row(case: str, where: str, work: Work) -> str:
    """A line of the table."""
    pieces = 1e3 * np.percentile(work.pieces, [50, 95, 100])
    calls = 1e3 * np.percentile(work.publish, [50, 99, 100])
    times = "".join(f"{v:>9.1f}" for v in pieces) + "".join(f"{v:>11.4f}" for v in calls)
    return f"{case:<11}{where:<11}{len(work.pieces):>7}{times}"


_WATCH = """
window.shown = [];
const link = document.querySelector("#link");
new MutationObserver(() => shown.push([link.textContent, Date.now()])).observe(link, {childList: true, subtree: true});
"""


def until_shown(states: int = 100) -> list[float]:
    """Times from `publish` to the page's text, one after the other at uneven moments. [s]"""
    rng, told = random.Random(1), {}
    with PageServer(lambda _: None) as server, Browser() as browser:
        server.publish(evening(1))
        page = browser.page(390, 844, phone=True).open(server.addresses[0])
        page.wait_until("document.querySelector('#link').textContent.startsWith('connected')")
        page.run(_WATCH)
        for number in range(2, states + 2):
            told[f"connected, night_{number}"] = time.time()
            server.publish(evening(number, folder=f"night_{number}"))
            browser.listen(0.15 + 0.1 * rng.random())
        return [at / 1e3 - told[text] for text, at in page.run("shown")]


def main() -> None:
    """Print the pieces of work and the calls of `publish` in each case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--client", choices=[*KINDS, "server"], help=argparse.SUPPRESS)
    parser.add_argument("--address", help=argparse.SUPPRESS)
    given = parser.parse_args()
    seconds = min(given.seconds, 60.0)
    if given.client == "server":
        elsewhere(seconds)
    elif given.client:
        clients(given.client, given.address, seconds)
    else:
        print(
            f"{CLIENTS} clients of each kind, {seconds:.0f} s a case; times in ms: median, 95 % or 99 %, most"
        )
        print(f"{'clients':<11}{'ask':<11}{'pieces':>7}{'work':>14}{'publish':>40}")
        for case in ("nobody", *KINDS, "all"):
            for here in (False, True):
                print(
                    row(case, "here" if here else "elsewhere", measured(case, seconds, here=here)), flush=True
                )

        if PROGRAM is not None:
            shown = until_shown()
            times = 1e3 * np.percentile(shown, [50, 95, 100])
            print(f"{len(shown)} states until a browser shows them: " + "".join(f"{v:>7.0f}" for v in times))


if __name__ == "__main__":
    main()
