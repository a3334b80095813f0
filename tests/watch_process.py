"""A `polarcheck watch` that runs as a process, and a script that brings frames as capture programs do."""

from __future__ import annotations

import os
import select
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from polarcheck.night import NightLog
from tests.at_the_mount import SWEEP, AtTheMount

MAIN = "from polarcheck.cli import main; main()"
PATIENCE_S = 60.0


class Watch:
    """A running watch, its events read from the night's file."""

    def __init__(self, folder: Path, rig: Path, *options: str) -> None:
        command = [sys.executable, "-c", MAIN, "watch", str(folder), "--rig", str(rig), *options]
        self.log = NightLog(folder)
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
        )

    def events(self) -> list[Any]:
        return list(self.log.read().events)

    def wait_for(self, kind: str, count: int) -> Any:
        """The last event of a kind, once there are so many of it."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            found = [event for event in self.events() if event.event == kind]
            if len(found) >= count:
                return found[-1]
            assert self.process.poll() is None, self.process.communicate()
            time.sleep(0.05)
        raise AssertionError(
            f"no {kind} number {count}: {[event.event + ' ' + str(getattr(event, 'reason', '')) for event in self.events()]}"
        )

    def interrupt(self) -> tuple[str, str]:
        self.process.send_signal(signal.SIGINT)
        return self.process.communicate(timeout=PATIENCE_S)

    def kill(self) -> None:
        self.process.kill()
        self.process.communicate(timeout=PATIENCE_S)


@contextmanager
def watching(folder: Path, rig: Path, *options: str) -> Iterator[Watch]:
    watch = Watch(folder, rig, *options)
    try:
        yield watch
    finally:
        if watch.process.poll() is None:
            watch.kill()


@dataclass(frozen=True, slots=True)
class OnATerminal:
    """A watch in a terminal of 80 by 24: its process, what it shows, the terminal's ends, and its state before."""

    process: subprocess.Popen[bytes]
    shown: Reader
    ours: int
    theirs: int
    before: list[Any]


@contextmanager
def on_a_terminal(folder: Path, rig: Path) -> Iterator[OnATerminal]:
    import pty
    import termios

    ours, theirs = pty.openpty()
    termios.tcsetwinsize(ours, (24, 80))  # type: ignore[attr-defined,unused-ignore]
    before = termios.tcgetattr(theirs)
    process = subprocess.Popen(
        [sys.executable, "-c", MAIN, "watch", str(folder), "--rig", str(rig)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=os.environ | {"TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"},
        start_new_session=True,
    )
    shown = Reader(ours)
    try:
        yield OnATerminal(process, shown, ours, theirs, before)
    finally:
        process.kill()
        process.wait()
        shown.close()
        os.close(ours)
        os.close(theirs)


class Script:
    """Takes frames at the mount and brings them into the folder, each in another way."""

    def __init__(self, place: Path, seed: int) -> None:
        (place / "made").mkdir()
        self.folder = place / "frames"
        self.folder.mkdir()
        self.mount = AtTheMount(place / "made", seed)
        self.rig = place / "made" / "knobs.toml"
        self.places: dict[str, float] = {}
        self.brought = 0

    def take(self, turns_deg: list[float]) -> list[Path]:
        """Frames at turns from where the mount stands; they lie beside the folder."""
        origin = self.mount.night.stands_deg
        paths = []
        for turn in turns_deg:
            self.mount.night.turn_to(origin + turn)
            paths.append(self.mount.shoot(60).path)
            self.places[paths[-1].name] = self.mount.night.stands_deg
        return paths

    def bring(self, path: Path) -> None:
        """Whole, in pieces, or under another name first."""
        target, content = self.folder / path.name, path.read_bytes()
        way = self.brought % 3
        self.brought += 1
        if way == 0:
            shutil.copyfile(path, target)
        elif way == 1:
            with target.open("wb") as file:
                for start in range(0, len(content), 1000):
                    file.write(content[start : start + 1000])
                    file.flush()
                    time.sleep(0.03)
        else:
            temporary = target.with_suffix(".part")
            temporary.write_bytes(content)
            temporary.rename(target)

    def back_to_last_used(self, event: Any) -> None:
        used = [frame.file for frame in event.result.frames if frame.used]
        self.mount.night.turn_to(self.places[used[-1]])


def play(script: Script, watch: Watch, most: int = 15, swept: bool = False) -> int:
    """Do what the advice says until it says stop; return how often it was asked.

    The sweep's frames come out of order; `swept`: they are there.
    """
    if not swept:
        paths = script.take(list(SWEEP))
        for i in (0, 2, 1, 3):
            script.bring(paths[i])
    found = watch.wait_for("measured", 1)
    brought: list[Path] = []
    for count in range(1, most):
        advice = watch.wait_for("advice", count)
        for path in brought:  # read, then deleted
            path.unlink()
        brought = []
        found = [event for event in watch.events() if event.event in ("measured", "followed")][-1]
        script.back_to_last_used(found)
        if advice.result.next.action == "stop":
            return count
        if advice.result.next.action == "turn":
            turns = {"azimuth": 0.0, "altitude": 0.0}
            for move in advice.result.moves:
                turns[move.knob] = (move.turns or 0.0) * (1 if move.sense == "clockwise" else -1)
            script.mount.turn(turns["azimuth"], turns["altitude"])
        if count == 2:
            script.mount.set_clock(-20.0)
        asked = [frame.turn_deg for frame in advice.result.next.frames] or [0.0]
        for path in script.take(asked):
            script.bring(path)
            brought.append(script.folder / path.name)
    raise AssertionError("no end")


class Reader:
    """What a process writes to a pseudo-terminal."""

    def __init__(self, descriptor: int) -> None:
        self.text, self.over = "", threading.Event()
        self.descriptor = descriptor
        self.thread = threading.Thread(target=self.read, daemon=True)
        self.thread.start()

    def read(self) -> None:
        while not self.over.is_set():
            ready, _, _ = select.select([self.descriptor], [], [], 0.1)
            if ready:
                try:
                    self.text += os.read(self.descriptor, 65536).decode(errors="replace")
                except OSError:
                    return

    def wait_for(self, text: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while text not in self.text:
            assert time.monotonic() < end, self.text[-2000:]
            time.sleep(0.05)

    def close(self) -> None:
        self.over.set()
        self.thread.join(2)
