"""How commands end: a result, or a few lines on stderr and an exit code; nothing ends in a traceback."""

from __future__ import annotations

import errno
import os
import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar

import typer

from polarcheck import report
from polarcheck.cli.naming import given_option, hint, solving_hint
from polarcheck.errors import ParameterError, PolarcheckError
from polarcheck.printable import printable

__all__ = ["STOPPED", "ending", "hint_of_running", "say", "usage_error"]

usage_error: type[Exception] = typer.BadParameter.__mro__[1]
"""A wrong command line, whichever library stands behind typer."""

STOPPED = 128 + signal.SIGINT
"""What shells give for the interrupt key."""

_HEAD = "polarcheck: "
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EIO) if hasattr(errno, "EDQUOT") else (errno.ENOSPC, errno.EIO)

_running: ContextVar[typer.Context | None] = ContextVar("running", default=None)


def say(message: str) -> None:
    """Write a message on stderr, printable and wrapped to the terminal; a name longer than a line stays whole."""
    for line in message.split("\n"):
        body = line.lstrip(" ")
        margin = " " * (len(line) - len(body))
        head = _HEAD if body.startswith(_HEAD) else ""  # stays before the first word, however long that is
        typer.echo(
            report.wrapped(printable(body.removeprefix(head), 2000), margin + head, margin + "  "), err=True
        )


@contextmanager
def ending(context: typer.Context | None = None) -> Iterator[None]:
    """Turn an error of the library into a few lines on stderr and exit code 1; nothing ends in a traceback.

    A parameter that can never be is a wrong command line (exit code 2) where an option gave it.
    """
    token = _running.set(context)
    try:
        yield
    except usage_error as error:
        error.ctx = error.ctx or context  # type: ignore[attr-defined]
        raise
    except (typer.Exit, typer.Abort, BrokenPipeError):
        raise
    except PolarcheckError as error:
        _refuse(error, context)
    except OSError as error:
        if error.errno in _NO_ROOM and error.filename is None:  # stdout's own: `main` says it
            raise
        _refuse(error, context)
    except MemoryError:
        say("polarcheck: out of memory; give fewer or smaller files")
        raise typer.Exit(1) from None
    except Exception as error:
        if _is_interrupt(error):
            raise KeyboardInterrupt from None
        if os.environ.get("POLARCHECK_TRACEBACK"):
            raise
        say(
            f"polarcheck: a fault of the program ({type(error).__name__}: {printable(error)}). Nothing was lost. "
            "Please report it, with the output of the same command after setting POLARCHECK_TRACEBACK=1."
        )
        raise typer.Exit(1) from None
    finally:
        _running.reset(token)


def _is_interrupt(error: BaseException) -> bool:
    """Whether the interrupt key stands behind an error, as when it is hit while a library loads."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, KeyboardInterrupt):
            return True
        seen = seen.__cause__ or seen.__context__
    return False


def _refuse(error: PolarcheckError | OSError, context: typer.Context | None) -> None:
    option = given_option(context, error.parameter) if isinstance(error, ParameterError) else None
    if option is not None:
        wrong = typer.BadParameter(str(error), param_hint=option)
        wrong.ctx = context
        raise wrong from None
    said = "polarcheck: " + (str(error).rstrip() or type(error).__name__)
    options = hint(context, error.parameters) if isinstance(error, PolarcheckError) else ""
    solving = solving_hint(context) if isinstance(error, PolarcheckError) and error.is_unsolved else ""
    say("\n".join(part for part in (said, options, solving) if part))
    raise typer.Exit(1) from None


def hint_of_running(parameters: Sequence[str]) -> str:
    """Return which options of the running command stand for the library's parameters; empty where none does."""
    return hint(_running.get(), parameters)
