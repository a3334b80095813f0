"""Being told that a folder changed, where the file system tells; where it does not, the poll still looks."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

__all__ = ["WakeUp"]

_QUIET = frozenset({"opened", "closed_no_write"})  # what reading does


class _Handler(FileSystemEventHandler):
    """Passes on what was heard: the kind of event, and the path."""

    def __init__(self, heard: Callable[[str, bytes | str], None]) -> None:
        self._heard = heard

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Pass on any event."""
        self._heard(event.event_type, event.src_path)


class WakeUp:
    """Something to wait on, set when the folder changed, or by anything else that has news.

    Parameters
    ----------
    folder : pathlib.Path
        The folder.
    recursive : bool
        Whether to hear of subfolders too.
    ignored : str
        Name of a file whose changes are our own.
    """

    def __init__(self, folder: Path, *, recursive: bool, ignored: str) -> None:
        self._folder, self._recursive, self._ignored = folder, recursive, ignored
        self._news = threading.Event()
        self._observer: BaseObserver | None = None

    def __enter__(self) -> Self:
        observer = Observer()
        try:
            observer.schedule(_Handler(self._heard), str(self._folder), recursive=self._recursive)
            observer.start()
        except Exception:  # no such service here, or no watch left: each system has its own way to say so
            return self
        self._observer = observer
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._observer is not None:
            self._observer.stop()
            self._observer.join(2.0)

    def _heard(self, kind: str, path: bytes | str) -> None:
        name = path if isinstance(path, str) else path.decode(errors="replace")
        if kind not in _QUIET and not name.endswith(self._ignored):
            self._news.set()

    def tell(self) -> None:
        """Say that there is news, from any thread."""
        self._news.set()

    def wait(self, seconds: float) -> bool:
        """Wait for news, at most so long; return whether there is any."""
        heard = self._news.wait(seconds)
        self._news.clear()
        return heard
