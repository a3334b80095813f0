"""A loop of asyncio that does not wait: where nothing happens until a time, it is that time at once."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")
_ON_ITS_WAY_S = 0.001  # what is sent over loopback has come by then


class _Impatient(selectors.DefaultSelector):
    """Waits for what is on its way only, and counts the rest as passed."""

    def __init__(self) -> None:
        super().__init__()
        self.passed = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        brief = timeout if timeout is None else min(timeout, _ON_ITS_WAY_S)
        ready = super().select(brief)
        if not ready and timeout:
            self.passed += timeout
        return ready


def run_quickly(main: Coroutine[Any, Any, T]) -> T:
    """Run a coroutine; its loop's clock begins at zero."""
    selector = _Impatient()

    def loop() -> asyncio.AbstractEventLoop:
        made = asyncio.SelectorEventLoop(selector)
        made.time = lambda: selector.passed  # type: ignore[method-assign]
        return made

    with asyncio.Runner(loop_factory=loop) as runner:
        return runner.run(main)


def now_s() -> float:
    """Time by the loop's clock."""
    return asyncio.get_running_loop().time()
