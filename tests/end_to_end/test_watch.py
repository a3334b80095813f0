"""`polarcheck watch` as a process of its own: a night in a folder, no key pressed; killed, and begun again.

The frames are written by a script that does what the events say: whole, in pieces, renamed, out of order, deleted
afterwards, with the clock set back. The truth about the axis is the simulated mount's.
"""

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
from pathlib import Path
from typing import Any

import pytest

from polarcheck.night import NightLog
from tests.at_the_mount import SWEEP, AtTheMount
from tests.commands import refused, run, strict_json

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
        raise AssertionError(f"no {kind} number {count}: {[event.event for event in self.events()]}")

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


def play(script: Script, watch: Watch, most: int = 15) -> int:
    """Do what the advice says until it says stop; return how often it was asked."""
    paths = script.take(list(SWEEP[:1]) + [20.0, 40.0, 60.0])
    for i in (0, 2, 1, 3):  # out of order
        script.bring(paths[i])
    found = watch.wait_for("measured", 1)
    for count in range(1, most):
        advice = watch.wait_for("advice", count)
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
            if count == 1:
                time.sleep(1.0)
                (script.folder / path.name).unlink()  # read, then deleted
    raise AssertionError("no end")


@pytest.mark.parametrize("seed", [1, 4])
def test_whole_night_ends_near_the_pole_with_no_key_pressed(tmp_path: Path, seed: int) -> None:
    script = Script(tmp_path, seed)
    with watching(script.folder, script.rig, "--json") as watch:
        play(script, watch)
        out, _ = watch.interrupt()
        assert watch.process.returncode == 130
    assert script.mount.error_arcmin < 0.6
    kept = [event.event for event in watch.events()]
    assert [strict_json(line)["event"] for line in out.splitlines()] == kept
    assert kept[:2] == ["measured", "advice"]
    assert kept.count("turned") <= 6
    assert watch.log.read().damaged == ()


def test_killed_at_any_moment_it_goes_on(tmp_path: Path) -> None:
    script = Script(tmp_path, 1)
    paths = script.take([0.0, 20.0, 40.0, 60.0])
    for i, path in enumerate(paths):
        with watching(script.folder, script.rig) as watch:
            script.bring(path)
            time.sleep(0.3 + 0.4 * i)  # while it starts, reads or waits
    with watching(script.folder, script.rig) as watch:
        advice = watch.wait_for("advice", 1)
        turns = [
            (move.turns or 0.0) * (1 if move.sense == "clockwise" else -1)
            for move in sorted(advice.result.moves, key=lambda move: move.knob)
        ]
        script.mount.turn(turns[1], turns[0])
        watch.kill()
    for path in script.take([0.0]):
        script.bring(path)
    with watching(script.folder, script.rig) as watch:
        found = watch.wait_for("followed", 1)
        watch.wait_for("advice", 2)
    kept = [event.event for event in watch.events()]
    assert kept == ["measured", "advice", "turned", "followed", "advice"]
    off = abs(found.result.error.total_arcmin - script.mount.error_arcmin)
    assert off < 5 * found.result.error.total_sigma_arcmin


def test_lines_say_what_to_do_and_ending_writes_down_what_stands(tmp_path: Path) -> None:
    script = Script(tmp_path, 1)
    for path in script.take([0.0, 20.0, 40.0]):
        script.bring(path)
    with watching(script.folder, script.rig) as watch:
        watch.wait_for("measured", 1)
        out, err = watch.interrupt()
    assert len(out.splitlines()) == 2
    assert "measured: " in out
    assert "now: Turn " in out
    assert err.splitlines()[-1] == "polarcheck: stopped"


def test_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert "there is no folder" in refused("watch", tmp_path / "nowhere")


@pytest.mark.skipif(os.name == "nt", reason="no such permissions")
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_night_that_cannot_be_kept_is_told(tmp_path: Path) -> None:
    script = Script(tmp_path, 1)
    for path in script.take([0.0, 20.0, 40.0]):
        script.bring(path)
    script.folder.chmod(0o500)
    result = run("watch", script.folder, "--rig", script.rig, "--until-done")
    assert "night-not-kept" in result.stderr
    script.folder.chmod(0o700)


def test_page_is_served_only_when_asked_for_and_shows_the_evening(tmp_path: Path) -> None:
    script = Script(tmp_path, 1)
    for path in script.take([0.0, 20.0, 40.0]):
        script.bring(path)
    with watching(script.folder, script.rig, "--page") as watch:
        watch.wait_for("measured", 1)
        assert watch.process.stderr is not None
        said = ""
        while "http://127.0.0.1:" not in said:
            said = watch.process.stderr.readline()
        address = said.split()[-1]
        program = f"import urllib.request as u; print(u.urlopen({address!r}).read().decode())"
        page = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
        assert "<html" in page.stdout
    with watching(script.folder, script.rig) as watch:
        time.sleep(3)
        _, err = watch.interrupt()
        assert "http" not in err


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminal")
def test_screen_is_drawn_in_place_hears_keys_and_is_given_back(tmp_path: Path) -> None:
    import pty
    import termios

    script = Script(tmp_path, 1)
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(ours, (24, 80))  # type: ignore[attr-defined,unused-ignore]
    before = termios.tcgetattr(theirs)
    process = subprocess.Popen(
        [sys.executable, "-c", MAIN, "watch", str(script.folder), "--rig", str(script.rig)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=os.environ | {"TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"},
        start_new_session=True,
    )
    shown = Reader(ours)
    try:
        shown.wait_for("\x1b[?1049h")  # the terminal's other screen
        for path in script.take([0.0, 20.0, 40.0]):
            script.bring(path)
        shown.wait_for("First altitude")
        log = NightLog(script.folder)
        end = time.monotonic() + PATIENCE_S
        while not any(event.event == "turned" for event in log.read().events) and time.monotonic() < end:
            os.write(ours, b"h")
            time.sleep(0.3)
        turned = [event for event in log.read().events if event.event == "turned"]
        assert len(turned) == 1
        assert not turned[0].as_told
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE_S) == 130
        shown.wait_for("\x1b[?1049l")
        assert termios.tcgetattr(theirs) == before
    finally:
        process.kill()
        process.wait()
        shown.close()
        os.close(ours)
        os.close(theirs)


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
