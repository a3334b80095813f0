"""The command line: parse, one library call, show, exit code."""

from __future__ import annotations

import logging
import os
import signal
import sys
import warnings
from contextlib import suppress

__all__ = ["main"]


def main() -> None:
    """Run the program. 0: a result; 1: no honest result, stderr says why; 2: the command line is wrong."""
    try:
        _prepare()
        from polarcheck.cli.app import app  # here, so that the interrupt key is heard while it loads

        try:
            app()
        finally:
            sys.stdout.flush()
    except KeyboardInterrupt:
        _last_words("polarcheck: stopped")
        _leave(128 + signal.SIGINT)  # as shells have it
    except BrokenPipeError:  # who reads has gone, as `head` does
        _leave(1)
    except OSError as error:  # a full disk behind stdout
        _last_words(f"polarcheck: the answer cannot be written ({error.strerror or type(error).__name__})")
        _leave(1)


def _prepare() -> None:
    """Make stdout and stderr such that writing to them never fails, and have no library talk of its own accord."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # it was closed; the next file that is opened must not take its place
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123 -- for as long as we run
        elif hasattr(stream, "reconfigure"):  # a console or pipe that cannot show a sign shows an escape
            stream.reconfigure(errors="backslashreplace")
    if not sys.warnoptions:  # what matters is said in words of ours
        warnings.simplefilter("ignore")
    logging.getLogger().addHandler(logging.NullHandler())


def _last_words(text: str) -> None:
    with suppress(OSError):
        print(text, file=sys.stderr, flush=True)


def _leave(code: int) -> None:
    """Leave without another try to write what could not be written."""
    for stream in (sys.stdout, sys.stderr):
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
        except (OSError, ValueError):
            continue
    sys.exit(code)
