"""`polarcheck watch` as a process of its own: a night in a folder, no key pressed; killed, and begun again.

The frames are written by a script that does what the events say: whole, in pieces, renamed, out of order, deleted
afterwards, with the clock set back. The truth about the axis is the simulated mount's.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from polarcheck.night import NightLog
from tests.commands import refused, strict_json
from tests.watch_process import PATIENCE_S, Script, on_a_terminal, play, watching


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
        watch.wait_for("advice", 1)
        time.sleep(1)  # written first, then said
        out, err = watch.interrupt()
    assert len(out.splitlines()) == 2
    assert "measured: " in out
    assert "now: Turn " in out
    assert err.splitlines()[-1] == "polarcheck: stopped"


def test_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert "there is no folder" in refused("watch", tmp_path / "nowhere")


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
    import termios

    script = Script(tmp_path, 1)
    with on_a_terminal(script.folder, script.rig) as terminal:
        process, shown = terminal.process, terminal.shown
        shown.wait_for("\x1b[?1049h")  # the terminal's other screen
        for path in script.take([0.0, 20.0, 40.0]):
            script.bring(path)
        shown.wait_for("First altitude")
        log = NightLog(script.folder)
        end = time.monotonic() + PATIENCE_S
        while not any(event.event == "turned" for event in log.read().events) and time.monotonic() < end:
            os.write(terminal.ours, b"h")
            time.sleep(0.3)
        turned = [event for event in log.read().events if event.event == "turned"]
        assert len(turned) == 1
        assert not turned[0].as_told
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE_S) == 130
        shown.wait_for("\x1b[?1049l")
        assert termios.tcgetattr(terminal.theirs) == terminal.before
