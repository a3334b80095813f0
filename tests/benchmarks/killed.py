"""A night's file under writers that are killed at random moments: ``python -m tests.benchmarks.killed [TIMES] [SEED]``.

Each trial starts a program that appends events of 20 kB to one file, kills it (SIGKILL, or what the system has for it)
after a random time, reads the file, appends an event as the night goes on, and reads again. Printed: how often, the
events that were told to be written and are not there, the lines that cannot be read, the most of one trial.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from polarcheck.night import NightLog, TurnedEvent

WRITER = """
import sys
from pathlib import Path
from polarcheck.night import MovedEvent, NightLog
log = NightLog(Path(sys.argv[1]))
print("ready", flush=True)
for i in range(100000):
    log.append(MovedEvent(time_utc="2026-11-14T21:00:00Z", version="1", reason=f"{i} " + "x" * 20000))
    print(i, flush=True)
"""


def trial(folder: Path, seconds: float) -> tuple[int, int, int]:
    """Events written and told, those of them that are not there, lines that cannot be read."""
    before = NightLog(folder).read()
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(seconds)
        writer.kill()
        told = len(writer.stdout.read().split())
    log = NightLog(folder)
    log.read()  # reads as it was left
    log.append(TurnedEvent(time_utc="2026-11-14T21:00:00Z", version="1", turned=[0.0, 0.0], as_told=False))
    after = log.read()
    assert after.events[-1].event == "turned"
    found = len(after.events) - len(before.events) - 1
    return told, max(told - found, 0), len(after.damaged) - len(before.damaged)


def main() -> None:
    """Print the figures."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    told = lost = damaged = most = 0
    for _ in range(-(-times // 10)):
        with (
            tempfile.TemporaryDirectory() as place
        ):  # a file of ten trials each: it goes on after damage, too
            for _ in range(10):
                one = trial(Path(place), rng.uniform(0.0, 0.06))
                told, lost, damaged, most = told + one[0], lost + one[1], damaged + one[2], max(most, one[2])
    print(
        f"{times} kills, {told} events told to be written: {lost} of them lost, {damaged} lines torn, at most {most} a kill"
    )


if __name__ == "__main__":
    main()
