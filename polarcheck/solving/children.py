"""Other programs, run without a shell, each with a time limit and bounded output, and ended with what started them."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

__all__ = ["Children", "Ended", "StoppedError"]

_KEPT_BYTES = 65_536
_PATIENCE_S = 2.0
_ON_WINDOWS = os.name == "nt"


class StoppedError(Exception):
    """The work was called off while a program ran."""


@dataclass(frozen=True, slots=True)
class Ended:
    """How a program ended.

    Attributes
    ----------
    exit_code : int or None
        None where it was ended at its time limit.
    output : str
        The last of what it wrote, both streams; untrusted.
    """

    exit_code: int | None
    output: str


@dataclass
class Children:
    """The programs that run now. One such object serves many threads."""

    _running: set[subprocess.Popen[bytes]] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _is_over: bool = False

    def run(self, command: Sequence[str], folder: Path, limit_s: float) -> Ended:
        """Run a program to its end, or to its time limit.

        Parameters
        ----------
        command : sequence of str
            The program and its arguments; no shell reads them.
        folder : pathlib.Path
            Where it works.
        limit_s : float
            After which it, and all that it started, is ended. [s]

        Returns
        -------
        Ended

        Raises
        ------
        OSError
            It cannot be started.
        StoppedError
            `end_all` was called.
        """
        child = self._started(command, folder)
        tail = _Tail(child)
        try:
            code: int | None = child.wait(timeout=max(limit_s, 0.01))
        except subprocess.TimeoutExpired:
            code = None
        finally:
            _end_family(child)  # what it left behind, too
            with self._lock:
                self._running.discard(child)
        if self._is_over:
            raise StoppedError
        return Ended(code, tail.text())

    def end_all(self) -> None:
        """End every program that runs, and let none start any more."""
        with self._lock:
            self._is_over = True
            running = list(self._running)
        for child in running:
            _end_family(child)

    def _started(self, command: Sequence[str], folder: Path) -> subprocess.Popen[bytes]:
        with self._lock:
            if self._is_over:
                raise StoppedError
            child = subprocess.Popen(
                list(command),
                cwd=folder,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                start_new_session=not _ON_WINDOWS,
                creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            )
            self._running.add(child)
            return child


class _Tail:
    """Reads all that a program writes and keeps the last of it, so that no pipe fills and no memory does."""

    def __init__(self, child: subprocess.Popen[bytes]) -> None:
        assert child.stdout is not None
        self._kept = b""
        self._thread = threading.Thread(target=self._read, args=(child.stdout,), daemon=True)
        self._thread.start()

    def _read(self, stream: IO[bytes]) -> None:
        with suppress(OSError, ValueError), stream:
            while piece := stream.read1():  # type: ignore[attr-defined]
                self._kept = (self._kept + piece)[-_KEPT_BYTES:]

    def text(self) -> str:
        self._thread.join(_PATIENCE_S)  # a grandchild that left its family may hold the pipe for longer
        return self._kept.decode("utf-8", "replace")


def _end_family(child: subprocess.Popen[bytes]) -> None:
    """End a program and what it started."""
    if _ON_WINDOWS:
        if child.poll() is None:
            kill = ["taskkill", "/T", "/F", "/PID", str(child.pid)]
            with suppress(OSError, subprocess.SubprocessError):
                subprocess.run(kill, capture_output=True, check=False, timeout=10)
    else:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(child.pid, signal.SIGKILL)
    if child.poll() is None:
        child.kill()
    with suppress(subprocess.TimeoutExpired):
        child.wait(timeout=_PATIENCE_S)
