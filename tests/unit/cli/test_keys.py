"""Keys of a terminal: heard one by one, and the terminal left as it was."""

from __future__ import annotations

import os
import queue
import sys
import threading
from pathlib import Path

import pytest

from polarcheck.cli.keys import keys_heard

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


def test_keys_are_heard_while_asked_for_and_the_terminal_is_left_as_it_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import pty
    import termios

    ours, theirs = pty.openpty()
    before = termios.tcgetattr(theirs)
    heard: queue.Queue[str] = queue.Queue()
    with open(theirs, encoding="utf-8", closefd=False) as terminal:
        monkeypatch.setattr("sys.stdin", terminal)
        with keys_heard(heard.put):
            os.write(ours, b"y")
            assert heard.get(timeout=5) == "y"
            os.write(ours, b"\x1b[A")  # an arrow
        assert not [thread for thread in threading.enumerate() if thread.name == "keys"]
    assert termios.tcgetattr(theirs) == before
    assert heard.empty()
    os.close(ours)
    os.close(theirs)


def test_nothing_is_heard_where_nobody_sits_at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    with Path(os.devnull).open(encoding="utf-8") as nowhere:
        monkeypatch.setattr("sys.stdin", nowhere)
        with keys_heard(lambda _: None):
            assert not [thread for thread in threading.enumerate() if thread.name == "keys"]
