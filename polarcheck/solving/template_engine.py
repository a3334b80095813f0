"""Any other plate solver, by a command with placeholders."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from pathlib import Path

from polarcheck.frames import write_star_list
from polarcheck.printable import printable
from polarcheck.solving.children import Children
from polarcheck.solving.engine import EngineError, Match, Task
from polarcheck.solving.field_engine import read_match
from polarcheck.solving.wanted import Hints

__all__ = ["TemplateEngine"]

_PLACEHOLDER = re.compile(r"\{(\w+)\}")
_SOLUTION = "frame.wcs"


@dataclass(frozen=True, slots=True)
class TemplateEngine:
    """A solver by its command.

    Attributes
    ----------
    command : tuple of (str or tuple of str)
        Program and arguments; a tuple of arguments is left out where one of its placeholders is not known.
    """

    command: tuple[str | tuple[str, ...], ...]

    @property
    def name(self) -> str:
        """The program's name, printable."""
        first = self.command[0]
        return printable(Path(first if isinstance(first, str) else first[0]).name, 40)

    def match(self, task: Task, children: Children) -> Match | None:
        """See `Engine`."""
        values = _values(task)
        words = [filled for part in self.command for filled in _filled(part, values)]
        text = " ".join(words)
        if values["stars"] in text:
            write_star_list(Path(values["stars"]), task.stars.pixels, task.stars.flux)
        if values["stars_csv"] in text:
            _write_text_list(Path(values["stars_csv"]), task)
        if values["image"] in text:
            shutil.copyfile(task.image, values["image"])  # solvers write beside what they are given
        try:
            ended = children.run(words, task.folder, task.limit_s)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise EngineError(f"the solver {self.name} cannot be started ({printable(why)})") from None
        return read_match(task, ended, self.name, _SOLUTION, None)

    def missing_sizes(self, hints: Hints, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """See `Engine`; what another solver needs is not known here."""
        return None


def _values(task: Task) -> dict[str, str]:
    """What the placeholders stand for; what is not known is missing."""
    width, height = task.size_px
    values = {
        "stars": str(task.folder / "stars.fits"),
        "stars_csv": str(task.folder / "stars.csv"),
        "image": str(task.folder / f"frame{''.join(task.image.suffixes[-2:])[-20:]}"),
        "folder": str(task.folder),
        "solution": str(task.folder / _SOLUTION),
        "width": str(width),
        "height": str(height),
        "limit": f"{task.limit_s:.0f}",
    }
    scale, place = task.hints.scale_arcsec, task.hints.place
    if scale is not None:
        values |= {"scale_low": f"{scale[0]:.6g}", "scale_high": f"{scale[1]:.6g}"}
        values["scale"] = f"{(scale[0] * scale[1]) ** 0.5:.6g}"
    if place is not None:
        values |= {"ra": f"{place.right_ascension_deg:.5f}", "dec": f"{place.declination_deg:.5f}"}
        values["radius"] = f"{place.radius_deg:.3f}"
    return values


def _filled(part: str | tuple[str, ...], values: dict[str, str]) -> list[str]:
    """Arguments with what their placeholders stand for; none where one of them is not known."""
    words = [part] if isinstance(part, str) else list(part)
    if any(name not in values for word in words for name in _PLACEHOLDER.findall(word)):
        return []
    return [_PLACEHOLDER.sub(lambda found: values[found[1]], word) for word in words]


def _write_text_list(path: Path, task: Task) -> None:
    """Stars as text: x and y (0-based, pixels) and flux, the order in which a solver is to take them."""
    rows = zip(task.stars.pixels, task.stars.flux, strict=True)
    lines = ["x,y,flux", *(f"{x:.4f},{y:.4f},{flux:.6g}" for (x, y), flux in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
