"""The command line: parse, one library call, show, exit code."""

from __future__ import annotations

import os
import sys

__all__ = ["main"]


def main() -> None:
    """Run the program. 0: a result; 1: no honest result, stderr says why; 2: the command line is wrong."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console or pipe that cannot show a sign shows an escape
            stream.reconfigure(errors="backslashreplace")
    try:
        from polarcheck.cli.app import app  # here, so that the interrupt key is heard while it loads

        app()
    except KeyboardInterrupt:
        print("polarcheck: stopped", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
