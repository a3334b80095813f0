"""The plate solver that comes as a Python package, `astrometry`, where it is installed; run in a process of its own.

It stops at the first sure match: without being told so it searches on. In a process of its own it can be ended at its
time limit, and a crash of it costs no more than its frame.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import numpy as np

from polarcheck.constants import DEGREE
from polarcheck.errors import FrameError
from polarcheck.frames import read_engine_solution, write_engine_header
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable
from polarcheck.solving.children import Children
from polarcheck.solving.engine import EngineError, Match, Task
from polarcheck.solving.field_engine import last_words
from polarcheck.solving.index_files import IndexFile, missing_sizes, useful
from polarcheck.solving.wanted import Hints
from polarcheck.vectors import direction_from_spherical

__all__ = ["PACKAGE", "PackagedEngine", "is_installed"]

PACKAGE = "astrometry"
_WORKER = "polarcheck.solving.packaged_worker"
_LARGEST_BYTES = 20_000_000


def is_installed() -> bool:
    """Return whether the package is there."""
    return find_spec(PACKAGE) is not None


@dataclass(frozen=True, slots=True)
class PackagedEngine:
    """The package `astrometry`, or a fork of it by the same name of its module.

    Attributes
    ----------
    index_files : tuple of IndexFile
    """

    index_files: tuple[IndexFile, ...]

    @property
    def name(self) -> str:
        """What to call it."""
        return f"the package {PACKAGE}"

    def match(self, task: Task, children: Children) -> Match | None:
        """See `Engine`."""
        scale = task.hints.scale_range(task.size_px[0])
        files = useful(self.index_files, scale, task.size_px)
        if not files:
            return None
        job, answer = task.folder / "job.json", task.folder / "answer.json"
        place = task.hints.place
        told = {
            "index": [str(index.path) for index in files],
            "stars": (task.stars.pixels + 1).tolist(),
            "scale": scale,
            "place": None
            if place is None
            else (place.right_ascension_deg % 360, place.declination_deg, place.radius_deg),
        }
        job.write_text(json.dumps(told), encoding="utf-8")
        ended = children.run(
            [sys.executable, "-m", _WORKER, str(job), str(answer)], task.folder, task.limit_s
        )
        if not answer.is_file():
            if ended.exit_code is None:
                return None
            raise EngineError(f"{self.name} ended with exit code {ended.exit_code}{last_words(ended.output)}")
        return self._read(task, json.loads(read_plain_file(answer, _LARGEST_BYTES, "an answer")))

    def _read(self, task: Task, answer: dict[str, Any]) -> Match | None:
        if not answer["fields"]:
            return None
        file = task.folder / "frame.wcs"
        try:
            write_engine_header(file, answer["fields"])
            sky = np.array(answer["stars"], dtype=float).reshape(-1, 2) * DEGREE
            return Match(
                read_engine_solution(file, task.size_px), None, direction_from_spherical(sky[:, 0], sky[:, 1])
            )
        except (FrameError, ValueError) as error:
            raise EngineError(
                f"{self.name} gave a solution that cannot be read: {printable(error)}"
            ) from None

    def missing_sizes(self, hints: Hints, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """See `Engine`."""
        if hints.scale_arcsec is None:
            return None
        return missing_sizes(self.index_files, hints.scale_arcsec, size_px)
