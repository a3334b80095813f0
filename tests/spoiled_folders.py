"""Spoiled inputs that take a folder: nights with their file, a solver's answers, pictures, and what is asked of the sky.

The same as `tests.mutations` for the commands that look at more than one file; `fault_of` there runs them.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
from astropy.io import fits
from astropy.wcs import WCS

from polarcheck.night import NIGHT_FILE
from tests.commands import SAMPLES
from tests.fits_files import header, write_solution
from tests.mutations import (
    AT,
    ERROR,
    HOSTILE,
    OPTICS,
    PLACE,
    TYPED,
    Spoiled,
    bytes_changed,
    one_of,
    spoiled_json,
)
from tests.picture_files import write_dng, write_grey_tiff, write_png
from tests.solvers import SIZE, SOLUTION, star_field, write_frame, write_index
from tests.told_nights import told_night

__all__ = ["folder_kinds"]

_HEAD = 4096  # bytes of a picture in which most of what is said of it stands
_ASKED: dict[str, tuple[str, ...]] = {
    "plan": (*PLACE, *AT, "--declination", "40", "--frames", "4"),
    "rough": (*PLACE, *AT),
    "drift": (*ERROR, *AT, "--target", "M31", "--for", "10min"),
    "exposure": (*ERROR, *AT, *OPTICS, "--target", "M31", "--tolerance", "1px"),
    "map": (*ERROR, *AT, *OPTICS),
    "timeline": (*ERROR, *AT, *OPTICS, "--target", "M31"),
}
_SLOW = ("map", "timeline")  # seconds each


def folder_kinds(folder: Path) -> dict[str, Callable[[np.random.Generator, int], Spoiled]]:
    """Return makers of spoiled inputs by kind, as `tests.mutations.kinds` does."""
    nights, pictures = _Nights(folder), _Pictures(folder)
    made: dict[str, Callable[[np.random.Generator, int], Spoiled]] = {
        "night": nights.night,
        "asked": _asked,
        "pictures": pictures.pictures,
    }
    if os.name == "posix":  # the stand-in for a solver is a script
        made["answers"] = _Answers(folder).answers
    return made


class _Nights:
    def __init__(self, folder: Path) -> None:
        self.folder = told_night(folder / "told")
        self.lines = (self.folder / NIGHT_FILE).read_text(encoding="utf-8").splitlines()
        self.page = str(folder / "night.html")

    def night(self, rng: np.random.Generator, number: int) -> Spoiled:
        lines = list(self.lines)
        for i in rng.choice(len(lines), rng.integers(1, 3), replace=False):  # once: then it may be no JSON
            lines[i] = spoiled_json(lines[i], rng)
        if rng.random() < 0.3:
            del lines[int(rng.integers(len(lines)))]
        text = "\n".join(lines) + "\n"
        text = bytes_changed(text, rng) if rng.random() < 0.2 else text
        (self.folder / NIGHT_FILE).write_text(text, encoding="utf-8", errors="replace")
        shown = str(self.folder)
        commands = [
            ("night", shown),
            ("night", shown, "--json"),
            ("night", shown, shown),
            ("watch", shown),
        ] * 3
        commands += [
            ("watch", shown, "--json", "--until-done"),
            ("report", shown, "--out", self.page, "--force"),
        ]
        return Spoiled("night", one_of(commands, rng))


def _asked(rng: np.random.Generator, number: int) -> Spoiled:
    """A good question about the sky with some of its words spoiled."""
    command = one_of([*_ASKED], rng)
    if command in _SLOW and rng.random() < 0.8:
        command = "plan"
    words = list(_ASKED[command])
    for _ in range(rng.integers(1, 3)):
        i = int(rng.integers(len(words)))
        words[i + words[i].startswith("--") if i + 1 < len(words) else i] = one_of(TYPED, rng).replace(
            "\0", ""
        )
    return Spoiled("asked", (command, *words, *(("--json",) if rng.random() < 0.5 else ())))


class _Pictures:
    def __init__(self, folder: Path) -> None:
        self.folder = folder / "pictures"
        self.folder.mkdir()
        image, _ = star_field()
        write_png(self.folder / "a.png", image)
        write_grey_tiff(self.folder / "a.tif", image)
        write_dng(self.folder / "a.dng", image)
        self.good = {path.suffix: path.read_bytes() for path in self.folder.glob("a.*")}
        self.sweep = folder / "shots"
        self.sweep.mkdir()
        for path in sorted((SAMPLES / "jpeg_sweep").glob("jpeg_sweep_0[1-4].*")):
            (self.sweep / path.name).write_bytes(path.read_bytes())
        self.shot = self.sweep / "jpeg_sweep_01.jpg"
        self.good[".jpg"] = self.shot.read_bytes()

    def pictures(self, rng: np.random.Generator, number: int) -> Spoiled:
        kind = one_of([*self.good], rng)
        path = self.shot if kind == ".jpg" else self.folder / f"a{kind}"
        path.write_bytes(_raw_changed(self.good[kind], rng))
        commands = [("stars", str(path)), ("stars", str(path), "--json"), ("measure", str(path), str(path))]
        if kind == ".jpg":
            commands += [
                ("measure", str(self.sweep), *PLACE),
                ("measure", str(self.sweep), *PLACE, "--zone", "utc"),
            ]
        return Spoiled("pictures", one_of(commands, rng))


class _Answers:
    def __init__(self, folder: Path) -> None:
        self.folder = folder / "solver"
        self.folder.mkdir()
        program = self.folder / "solve-field"
        program.write_text(f"#!/bin/sh\ncp '{self.folder}'/frame.* .\n", encoding="utf-8")
        program.chmod(0o755)
        write_index(self.folder / "index" / "index-4110.fits", 5.0, 60.0)
        image, places = star_field()
        self.frame = write_frame(folder / "unsolved" / "a.fits", image)
        self.solution = write_solution(folder / "answer.wcs", SOLUTION, SIZE).read_bytes()
        self.pairs = _pairs(places)
        self.environment = {"PATH": f"{self.folder}{os.pathsep}{os.environ['PATH']}"}

    def answers(self, rng: np.random.Generator, number: int) -> Spoiled:
        solution = _raw_changed(self.solution, rng)
        pairs = _raw_changed(self.pairs, rng) if rng.random() < 0.5 else self.pairs
        (self.folder / "frame.wcs").write_bytes(solution)
        (self.folder / "frame.corr").write_bytes(pairs)
        words = (
            "solve",
            str(self.frame.parent),
            "--again",
            "--index",
            str(self.folder / "index"),
            "--scale",
            "19,21",
        )
        more = one_of([(), ("--json",), ("--as-solved",)], rng)
        return Spoiled("answers", (*words, *more), self.environment)


def _pairs(places: np.ndarray) -> bytes:
    """The table of matched stars that a solver writes beside its solution."""
    sky = WCS(header(SOLUTION)).all_pix2world(places, 0)
    names = ("field_x", "field_y", "index_ra", "index_dec")
    values = (*(places.T + 1), *sky.T)
    columns = [fits.Column(name, "D", array=value) for name, value in zip(names, values, strict=True)]
    raw = BytesIO()
    fits.HDUList([fits.PrimaryHDU(), fits.BinTableHDU.from_columns(columns)]).writeto(raw)
    return raw.getvalue()


def _raw_changed(good: bytes, rng: np.random.Generator) -> bytes:
    """Change bytes, most of them where the file says what it holds; put hostile words there; cut it off."""
    raw = bytearray(good)
    for _ in range(rng.integers(1, 6)):
        at = int(rng.integers(min(len(raw), _HEAD) if rng.random() < 0.7 else len(raw)))
        if rng.random() < 0.6:
            raw[at] = int(rng.integers(256))
        elif rng.random() < 0.5:
            raw[at : at + 4] = int(rng.choice([0, 1, 255, 65535, 2**31 - 1, 2**32 - 1])).to_bytes(4, "little")
        else:
            word = one_of(HOSTILE, rng)[:60].encode("latin-1", "replace")
            raw[at : at + len(word)] = word
    return bytes(raw[: int(rng.integers(len(raw)))] if rng.random() < 0.1 else raw)
