"""Spoiled inputs for every command: results, rig files, lists of targets, command lines, pixels; all from one seed.

`spoiled` gives command lines with their files written; `fault_of` runs one in this process and says what is wrong
with how it ended: a fault is anything but exit code 0, 1 or 2 with plain words.
"""

from __future__ import annotations

import json
import re
import resource
import time
import traceback
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from typer.testing import CliRunner

from polarcheck.cli.app import SUMMARIES, app
from polarcheck.watch import WakeUp
from tests.commands import SAMPLES, steering

MOST_SECONDS = 30.0  # of processor time
MOST_WAITING_S = 300.0  # of the clock, on a machine that others use, too: what hangs takes longer
_STOPPED = 130  # of a watch
MOST_BYTES = 2_000_000_000
AT = ("--at", "2026-11-14T21:10:00")
PLACE = ("--site", "47.3,11.2")
ERROR = ("--error", "2,2", *PLACE)
OPTICS = ("--focal-length", "250", "--pixel-size", "6", "--sensor", "1200x900")

HOSTILE = [
    *(
        "1e400",
        "-1e400",
        "1e300",
        "-1e300",
        "1e-300",
        "9" * 5000,
        "-" + "9" * 400,
        "0",
        "-0",
        "1e308",
        "nan",
        "inf",
    ),
    *(
        "null",
        "true",
        "false",
        '""',
        "[]",
        "{}",
        '"x"',
        "[1,2,3]",
        '"' + "x" * 10_000 + '"',
        "[" * 3000,
        '"\\u0000"',
    ),
    *(
        '"\\u001b[31m"',
        '"2026-11-14T21:10:00"',
        '"9999-12-31T23:59:59Z"',
        '"0001-01-01T00:00:00"',
        "360",
        "-91",
        "1e18",
    ),
]
TYPED = [
    *(
        "",
        " ",
        "x",
        "-",
        "--",
        "0",
        "-1",
        "1e400",
        "1e300",
        "nan",
        "inf",
        "-inf",
        "9" * 400,
        "9" * 5000,
        "1,2",
        "1,2,3",
    ),
    *(
        ",",
        ",,",
        "47.3,11.2",
        "90,0",
        "-90,180",
        "91,0",
        "0,0,1e9",
        "47:18:00,11:12:00",
        "1px",
        "0px",
        "9999999px",
    ),
    *(
        "2arcsec",
        "1.2elongation",
        "1200x900",
        "0x0",
        "99999999x99999999",
        "10min",
        "90s",
        "0s",
        "1e9h",
        "-1h",
        "24h",
    ),
    *(
        "M31",
        "M111",
        "Sun",
        "Jupiter",
        "zzz",
        "400,10",
        "10,41",
        "2026-11-14T21:10:00",
        "1850-01-01T00:00:00",
    ),
    *(
        "2150-06-01T00:00:00",
        "9999-12-31T23:59:59",
        "0001-01-01T00:00:00",
        "2026-02-30T00:00:00",
        "true",
        "refracted",
    ),
    *(
        "target",
        "/dev/null",
        "/dev/zero",
        "/",
        ".",
        "..",
        "no/such/file.json",
        "\x1b[31m",
        "\u202e",
        "é" * 300,
        "king",
    ),
]


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A command line over spoiled input."""

    kind: str
    arguments: tuple[str, ...]
    environment: Mapping[str, str] = field(default_factory=dict)


def kinds(folder: Path) -> dict[str, Callable[[np.random.Generator, int], Spoiled]]:
    """Return makers of spoiled inputs by kind; files go into `folder`, over each other."""
    material = _Material(folder)
    return {
        "result": material.result,
        "rig": material.rig,
        "targets": material.targets,
        "command line": material.command_line,
        "pixels": material.pixels,
    }


class _Material:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        good = folder / "good.json"
        CliRunner().invoke(app, ["measure", str(SAMPLES / "north_sweep"), "--out", str(good)])
        self.kept = json.loads(good.read_text(encoding="utf-8"))
        rig = folder / "good.toml"
        CliRunner().invoke(app, ["rig", "new", str(rig), "--example"])
        self.rig_text = rig.read_text(encoding="utf-8")
        self.frame = small_frame()
        self.options = _options()

    def result(self, rng: np.random.Generator, number: int) -> Spoiled:
        text = json.dumps(self.kept)
        text = spoiled_json(text, rng) if rng.random() < 0.8 else bytes_changed(text, rng)
        path = self._write("r.json", text)
        commands = [
            ("correct", path),
            ("correct", path, "--json"),
            ("drift", path, "--target", "M31", *AT, "--for", "10min"),
            ("exposure", path, *OPTICS, "--target", "M31", *AT, "--guided", "--json"),
            ("follow", path, str(SAMPLES / "after_turn" / "none.fits")),
        ]
        return Spoiled("result", commands[rng.integers(len(commands))])

    def rig(self, rng: np.random.Generator, number: int) -> Spoiled:
        lines = self.rig_text.split("\n")
        for _ in range(rng.integers(1, 4)):
            i = int(rng.integers(len(lines)))
            key, equals, _ = lines[i].partition("=")
            lines[i] = (
                f"{key}= {one_of(HOSTILE, rng)}"
                if equals and rng.random() < 0.8
                else one_of([*HOSTILE, *lines], rng)
            )
        text = "\n".join(lines)
        path = self._write("rig.toml", text if rng.random() < 0.8 else bytes_changed(text, rng))
        commands = [
            ("rig", "show", path),
            ("rig", "show", path, "--json"),
            ("exposure", *ERROR, "--rig", path, "--target", "M31", *AT),
            ("correct", *ERROR, "--rig", path),
        ]
        return Spoiled("rig", commands[rng.integers(len(commands))])

    def targets(self, rng: np.random.Generator, number: int) -> Spoiled:
        said = [
            *TYPED,
            *HOSTILE,
            "M42",
            "NGC 7000",
            "Rosette",
            "a: 10,20",
            "a: 1e400,20",
            "5h35m,-5:23",
            "# remark",
            "M 45#x",
        ]
        lines = [one_of(said, rng) for _ in range(rng.integers(0, 4))]
        text = "\n".join(lines)
        path = self._write("list.txt", text if rng.random() < 0.8 else bytes_changed(text, rng))
        more = ("--json",) if rng.random() < 0.3 else ()
        return Spoiled("targets", ("exposure", *ERROR, *OPTICS, "--targets", path, *AT, *more))

    def command_line(self, rng: np.random.Generator, number: int) -> Spoiled:
        names = [name for name in self.options if name not in ("map", "timeline")]  # these take seconds each
        command = one_of(names, rng)
        words: list[str] = [*command.split()]
        if rng.random() < 0.6:
            words += {"drift": [*ERROR, *AT], "exposure": [*ERROR, *AT, *OPTICS], "correct": [*ERROR]}.get(
                command, []
            )
        for _ in range(rng.integers(0, 5)):
            words.append(one_of(self.options[command], rng) if rng.random() < 0.7 else one_of(TYPED, rng))
            if rng.random() < 0.8:
                words.append(one_of(TYPED, rng))
        empty = self.folder / "empty"
        empty.mkdir(exist_ok=True)
        words = [
            str(empty) if word in ("/", ".", "..") else word for word in words
        ]  # a disk is no spoiled input
        if command in ("simulate", "rig new"):
            words = [*[word for word in words if word != "x"], str(self.folder / "made")]
        return Spoiled("command line", tuple(word.replace("\0", "") for word in words))

    def pixels(self, rng: np.random.Generator, number: int) -> Spoiled:
        raw = bytearray(self.frame)
        for _ in range(rng.integers(1, 5)):
            at = int(rng.integers(len(raw) if rng.random() < 0.3 else 2880))
            if rng.random() < 0.5:
                raw[at : at + 1] = bytes([int(rng.integers(256))])
            else:
                card = at // 80 * 80
                raw[card + 10 : card + 80] = (
                    one_of(HOSTILE, rng)[:70].rjust(20).ljust(70).encode("latin-1", "replace")
                )
        if rng.random() < 0.1:
            raw = raw[: int(rng.integers(len(raw)))]
        (self.folder / "p.fits").write_bytes(bytes(raw))
        path = str(self.folder / "p.fits")
        commands = [
            ("stars", path),
            ("stars", path, "--json"),
            ("measure", path, path),
            ("measure", path, "--stars"),
        ]
        return Spoiled("pixels", commands[rng.integers(len(commands))])

    def _write(self, name: str, text: str) -> str:
        (self.folder / name).write_text(text, encoding="utf-8", errors="replace")
        return str(self.folder / name)


def small_frame() -> bytes:
    """A solved frame of 64 x 48 px of doubles with a few stars."""
    from io import BytesIO

    from astropy.io import fits

    from tests.fits_files import SOLVED, header

    rng = np.random.default_rng(1)
    y, x = np.mgrid[:48, :64]
    light = rng.normal(100, 3, (48, 64))
    for i in range(8):
        light += 900 * np.exp(-((x - 7 * i - 6) ** 2 + (y - 5 * i - 6) ** 2) / 4)
    raw = BytesIO()
    fits.PrimaryHDU(light.astype(np.float32), header(SOLVED)).writeto(raw)
    return raw.getvalue()


def _options() -> dict[str, list[str]]:
    found = {}
    for name in SUMMARIES:
        for command in (name,) if name != "rig" else ("rig new", "rig show"):
            said = CliRunner().invoke(app, [*command.split(), "--help"]).stdout
            found[command] = sorted(set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", said)))
    return found


def spoiled_json(text: str, rng: np.random.Generator) -> str:
    """Put hostile values in the place of some values, and take some keys away."""
    content = json.loads(text)
    marks: dict[str, str] = {}
    for _ in range(rng.integers(1, 4)):
        holder, key = _somewhere(content, rng)
        if holder is None:
            continue
        if rng.random() < 0.15 and isinstance(holder, dict):
            del holder[key]
        elif isinstance(holder[key], float) and rng.random() < 0.7:  # still a number, but not what it was
            holder[key] *= float(rng.choice([-1.0, 0.0, 1.0])) * 10 ** float(rng.uniform(-6, 6))
        else:
            mark = f"@{len(marks)}@"
            marks[mark] = one_of(HOSTILE, rng)
            holder[key] = mark
    text = json.dumps(content)
    for mark, value in marks.items():
        text = text.replace(f'"{mark}"', value)
    return text


def _somewhere(content: Any, rng: np.random.Generator) -> tuple[Any, Any]:
    holder, key = None, None
    while isinstance(content, (dict, list)) and content:
        holder = content
        keys = list(content) if isinstance(content, dict) else list(range(len(content)))
        key = keys[int(rng.integers(len(keys)))]
        content = content[key]
        if rng.random() < 0.25:
            break
    return holder, key


def bytes_changed(text: str, rng: np.random.Generator) -> str:
    letters = list(text)
    for _ in range(rng.integers(1, 6)):
        if letters:
            letters[int(rng.integers(len(letters)))] = chr(
                int(rng.choice([0, 10, 34, 44, 45, 46, 57, 91, 123, 233, 8238]))
            )
    return "".join(letters[: int(rng.integers(len(letters) + 1))] if rng.random() < 0.2 else letters)


def one_of(choices: Any, rng: np.random.Generator) -> Any:
    return choices[int(rng.integers(len(choices)))]


def fault_of(spoiled: Spoiled) -> tuple[int, float, str | None]:
    """Run a command line; return its exit code, its seconds of processor time, and what is wrong with how it ended."""
    started, worked = time.perf_counter(), time.process_time()
    # a watch ends by the interrupt key when it would wait
    with warnings.catch_warnings(), mock.patch.object(WakeUp, "wait", side_effect=KeyboardInterrupt):
        warnings.simplefilter("ignore")  # as `main` has it
        result = CliRunner().invoke(app, list(spoiled.arguments), env=spoiled.environment)
    seconds, waited = time.process_time() - worked, time.perf_counter() - started
    said = None
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        said = "".join(traceback.format_exception(result.exception)[-3:])
    elif result.exit_code not in ((0, 1, 2, _STOPPED) if "watch" in spoiled.arguments[:1] else (0, 1, 2)):
        said = f"exit code {result.exit_code}"
    elif found := re.search(
        r"Traceback|a fault of the program[^.]*|\w+Warning:|site-packages", result.output
    ):
        said = found.group()
    elif re.search(r"(?<!')\b(?:nan|inf|NaN|Infinity)\b(?!')", result.stdout):
        said = "no number"
    elif steering(result.stdout) or steering(result.stderr):
        said = "steers the terminal"
    elif result.exit_code in (1, 2) and (result.stdout or not result.stderr):
        said = "an answer and a refusal, or neither"
    elif seconds > MOST_SECONDS or waited > MOST_WAITING_S:
        said = f"took {seconds:.0f} s, {waited:.0f} s by the clock"
    elif resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 > MOST_BYTES:
        said = "took over 2 GB"
    return result.exit_code, seconds, said
