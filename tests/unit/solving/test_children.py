"""Other programs: ended at their limit with all that they started, heard in bounded memory."""

from __future__ import annotations

import os
import sys
import threading
import time
from pathlib import Path

import pytest

from polarcheck.solving.children import Children, StoppedError

FAMILY = "import subprocess, sys, time; subprocess.Popen([sys.executable, '-c', {child!r}]); print('up', flush=True); {rest}"
SLEEP = "import time; time.sleep(600)"


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_end_and_last_words_are_told(tmp_path: Path) -> None:
    ended = Children().run(python("import os, sys; print(os.getcwd()); sys.exit(3)"), tmp_path, 30)
    assert ended.exit_code == 3
    assert Path(ended.output.strip()).samefile(tmp_path)


def test_limit_ends_it_and_what_it_started(tmp_path: Path) -> None:
    begun = time.monotonic()
    child = f"open('pid', 'w').write(str(__import__('os').getpid())); {SLEEP}"
    ended = Children().run(python(FAMILY.format(child=child, rest="time.sleep(600)")), tmp_path, 2.0)
    assert ended.exit_code is None
    assert "up" in ended.output
    assert time.monotonic() - begun < 20
    if os.name == "posix" and (tmp_path / "pid").exists():
        time.sleep(0.2)
        state = Path(f"/proc/{(tmp_path / 'pid').read_text()}/stat")
        assert not state.exists() or state.read_text().rsplit(")", 1)[1].split()[0] == "Z"


def test_much_output_is_kept_in_part_only(tmp_path: Path) -> None:
    ended = Children().run(python("for n in range(300000): print('line', n)"), tmp_path, 60)
    assert ended.exit_code == 0
    assert 65_000 < len(ended.output) <= 65_536  # the last words of any program, and no more memory
    assert ended.output.splitlines()[-1] == "line 299999"


def test_calling_off_ends_what_runs_and_starts_nothing_more(tmp_path: Path) -> None:
    children = Children()
    timer = threading.Timer(0.5, children.end_all)
    timer.start()
    begun = time.monotonic()
    with pytest.raises(StoppedError):
        children.run(python(SLEEP), tmp_path, 60)
    assert time.monotonic() - begun < 20
    with pytest.raises(StoppedError):
        children.run(python("pass"), tmp_path, 60)


def test_program_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="no-such-program"):
        Children().run([str(tmp_path / "no-such-program")], tmp_path, 5)


def test_last_words_are_waited_for_but_nobody_who_holds_the_pipe(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a program wrote is in the pipe when it ends; a service that it left behind may keep that open for hours. Two
    seconds are plenty on a busy board (common practice, no source).
    """
    waits: list[float | None] = []
    true_join = threading.Thread.join

    def join(thread: threading.Thread, timeout: float | None = None) -> None:
        waits.append(timeout)
        true_join(thread, timeout)

    monkeypatch.setattr("threading.Thread.join", join)
    assert Children().run(python("print('said')"), tmp_path, 30).output.strip() == "said"
    (wait,) = waits
    assert wait is not None
    assert 1.5 <= wait <= 3.0
