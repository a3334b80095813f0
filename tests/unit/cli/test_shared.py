"""What commands share: options to values, where results go, and how commands end."""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer
from typer.testing import CliRunner

from polarcheck.cli import ending, parsing, progress
from polarcheck.cli.app import app
from polarcheck.errors import GeometryError, InputError
from tests.commands import SAMPLES, answered, frames, refused, run, steering, strict_json, wrong

SWEEP = SAMPLES / "north_sweep"


def ended(error: BaseException, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit code and stderr of a command whose work raises an error."""
    with pytest.raises(typer.Exit) as left, ending.ending():
        raise error
    out, err = capsys.readouterr()
    assert out == ""
    return left.value.exit_code, err


# how commands end


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (InputError("no site: give one"), "polarcheck: no site: give one\n"),
        (GeometryError("one frame", 0.0), "polarcheck: one frame\n"),
        (PermissionError(errno.EACCES, "Permission denied", "a.fits"), "Permission denied: 'a.fits'"),
        (MemoryError(), "out of memory"),
        (ZeroDivisionError("x\x1b[31m"), "a fault of the program (ZeroDivisionError: x\\x1b[31m)"),
    ],
)
def test_error_ends_with_code_1_and_a_text(
    error: Exception, said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("POLARCHECK_TRACEBACK", raising=False)
    code, err = ended(error, capsys)
    assert code == 1
    assert said in err
    assert not steering(err)


def test_fault_of_the_program_is_raised_for_a_report(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("POLARCHECK_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError), ending.ending():
        raise ZeroDivisionError


@pytest.mark.parametrize("error", [typer.BadParameter("x"), typer.Exit(3), typer.Abort(), BrokenPipeError()])
def test_endings_of_other_kinds_pass(error: Exception) -> None:
    with pytest.raises(type(error)), ending.ending():
        raise error


def test_message_is_wrapped_with_its_lists_and_keeps_long_names_whole(
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = "/night/" + "frame_" * 20 + ".fits"
    ending.say("polarcheck: " + "word " * 30 + f"\n  {path}: no\n  " + "more " * 30)
    lines = capsys.readouterr().err.splitlines()
    assert f"  {path}:" in lines
    assert all(len(line) < 80 for line in lines if path not in line)
    assert all(line.startswith("  ") for line in lines[1:])
    assert sum(line.startswith("    ") for line in lines) >= 2


def test_message_of_many_lines_cannot_smuggle_a_control_character(capsys: pytest.CaptureFixture[str]) -> None:
    ending.say("one\ntwo\r\x1b[31m\u202e\n  three\x00")
    assert not steering(capsys.readouterr().err)


def test_interrupt_key_ends_quietly(monkeypatch: pytest.MonkeyPatch) -> None:
    """130 is 128 + 2, SIGINT: what shells give (common practice, no source)."""

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("polarcheck.measurement.measurement.read_frames", interrupted)
    result = CliRunner().invoke(app, ["measure", str(SWEEP)])
    assert result.exit_code == 130
    assert result.stdout == ""
    assert result.stderr.split() == ["polarcheck:", "stopped"]


def program(*arguments: str | Path, **settings: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", "from polarcheck.cli import main; main()", *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **settings)  # type: ignore[call-overload, no-any-return]


def test_reader_that_left_the_pipe_is_no_error() -> None:
    with program("measure", SWEEP, "--json") as process:
        process.stdout.close()  # type: ignore[union-attr]
        assert process.stderr is not None
        said = process.stderr.read()
    assert said == b""
    assert process.returncode == 1


def test_pipe_that_takes_ascii_only_is_no_error() -> None:
    with program("measure", SWEEP, env={**os.environ, "PYTHONIOENCODING": "ascii"}) as process:
        out, err = process.communicate()
    assert process.returncode == 0
    assert b"too far east" in out
    assert err == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "arguments", [("measure", str(SWEEP)), ("--help",), ("drift", "--help"), ("--version",)]
)
def test_full_disk_behind_stdout_is_said(arguments: tuple[str, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        command = [sys.executable, "-c", "from polarcheck.cli import main; main()", *arguments]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, check=False)
    assert done.returncode == 1
    assert b"No space left" in done.stderr
    assert b"Traceback" not in done.stderr


# options to values


@pytest.mark.parametrize(
    ("text", "value"), [("23.4,-11.8", (23.4, -11.8)), ("-1e1, +.5", (-10.0, 0.5)), ("0,-0", (0.0, 0.0))]
)
def test_pair_of_numbers(text: str, value: tuple[float, float]) -> None:
    assert parsing.pair(text) == value


@pytest.mark.parametrize(
    "text", ["", ",", "1", "1,2,3", "a,b", "1;2", "nan,0", "0,inf", "1e999,0", "\x1b[31m,1"]
)
def test_what_is_no_pair_is_refused_printable(text: str) -> None:
    with pytest.raises(InputError, match=r"two numbers|finite") as caught:
        parsing.pair(text)
    assert str(caught.value).isprintable()


def test_unparsable_option_is_a_wrong_command_line() -> None:
    with pytest.raises(typer.BadParameter, match="two numbers"):
        parsing.parsed("--error", "x", parsing.pair)


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["frames/", "--sight", "1,2"],
        ["frames/", "--pressure", "high"],
        ["frames/", "--pole", "magnetic"],
        ["frames/", "--site"],
        ["frames/", "--pressure", "-1"],
        ["frames/", "--pressure", "29.92"],  # inches of mercury
        ["frames/", "--pressure", "101.3"],  # kilopascal
        ["frames/", "--noise-px", "0"],
        ["frames/", "--clock-ahead", "2"],
        ["frames/", "--plot", "axis.gif"],
        ["frames/", "--out", "frame.fits"],
        ["frames/", "--out", ""],
    ],
)
def test_wrong_command_line_says_how_to_ask_for_help_within_80_columns(arguments: list[str]) -> None:
    assert re.search(r"Try 'polarcheck( measure)? --help'", wrong("measure", *arguments))
    lines = run("measure", *arguments).stderr.splitlines()
    assert max(map(len, lines)) < 80
    assert "Value error" not in " ".join(lines)


def test_unknown_command_and_option_are_not_echoed_raw() -> None:
    for arguments in (
        ["\x1b[31m\u202e"],
        ["measure", "x", "--\x1b[31m\u202e"],
        ["measure", "x", "--pole", "\u202e"],
    ):
        wrong(*arguments)  # checks for steering characters


def test_program_without_arguments_shows_its_help() -> None:
    assert "polarcheck measure" in wrong()


# where results go


def test_place_is_checked_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "polarcheck.measurement.measurement.read_frames", lambda *_, **__: pytest.fail("read frames first")
    )
    missing = tmp_path / "missing"
    for option, name in (("--out", "axis.json"), ("--plot", "axis.png")):
        assert f"there is no folder {missing}" in refused("measure", SWEEP, option, missing / name)
        (tmp_path / name).mkdir()
        assert "is a folder" in refused("measure", SWEEP, option, tmp_path / name)


def test_result_does_not_take_the_place_of_a_frame(tmp_path: Path) -> None:
    """As when the name after --out was forgotten and the first frame stands there."""
    paths = frames(tmp_path)
    before = paths[0].read_bytes()
    assert "must end in .json" in wrong("measure", "--out", *paths)
    assert "must end in .png or .svg" in wrong("measure", "--plot", *paths)
    assert paths[0].read_bytes() == before


def test_kept_result_is_what_json_prints_and_replaces_an_older_one(tmp_path: Path) -> None:
    kept = tmp_path / "axis.json"
    kept.write_text('{"schema": "polarcheck.measure/1"}', encoding="utf-8")
    result, _ = answered("measure", SWEEP, "--out", kept)
    assert strict_json(kept.read_text(encoding="utf-8")) == result
    assert [path.name for path in tmp_path.iterdir()] == ["axis.json"]


# watching


class Terminal:
    def isatty(self) -> bool:
        return True


def watched(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The clock that progress looks at. [s]"""
    clock = [0.0]
    monkeypatch.setattr("polarcheck.cli.progress.time", SimpleNamespace(monotonic=lambda: clock[0]))
    return clock


def test_progress_is_shown_to_a_terminal_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert progress.progress_line() is None
    clock = watched(monkeypatch)
    with monkeypatch.context() as patch:
        patch.setattr("polarcheck.cli.progress.sys.stderr", Terminal())
        show = progress.progress_line()
    assert show is not None
    for done in range(1, 1001):
        clock[0] = 0.02 * done
        show(done, 1000)
    shown = capsys.readouterr().err
    assert "reading frame 200 of 1000" in shown
    assert shown.endswith("\r" + " " * 40 + "\r")
    assert shown.count("reading") <= 201


@pytest.mark.parametrize(("work_s", "told"), [(0.8, False), (1.6, True)])
def test_work_of_a_second_needs_no_progress(
    work_s: float, told: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Up to about a second a wait does not interrupt the thought (Nielsen, Usability Engineering, 1993, ch. 5: from memory)."""
    clock = watched(monkeypatch)
    with monkeypatch.context() as patch:
        patch.setattr("polarcheck.cli.progress.sys.stderr", Terminal())
        show = progress.progress_line("target")
    assert show is not None
    for done in range(1, 11):
        clock[0] = done / 10 * work_s
        show(done, 10)
    assert ("target 9 of 10" in capsys.readouterr().err) is told
    clock[0] = 1000.0  # idle for long
    show(1, 3)
    assert capsys.readouterr().err == ""
