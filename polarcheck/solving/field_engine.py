"""The general plate solver of Debian, ``solve-field``: fed with a star list, never with the picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from polarcheck.errors import FrameError
from polarcheck.frames import read_engine_solution, read_star_pairs, write_star_list
from polarcheck.printable import printable
from polarcheck.solving.children import Children, Ended
from polarcheck.solving.engine import EngineError, Match, Task
from polarcheck.solving.index_files import IndexFile, missing_sizes, useful
from polarcheck.solving.wanted import Hints

__all__ = ["FieldEngine", "last_words", "read_match"]

_LARGEST_BYTES = 50_000_000
_SETTINGS = (
    *("--no-plots", "--overwrite", "--crpix-center", "--tweak-order", "2"),
    *("--no-remove-lines", "--uniformize", "0"),  # the list is spread already
    *("--x-column", "X", "--y-column", "Y"),
    *("--new-fits", "none", "--solved", "none", "--match", "none", "--rdls", "none", "--index-xyls", "none"),
    *("--wcs", "frame.wcs", "--corr", "frame.corr", "--dir", ".", "--temp-dir", "."),
)


@dataclass(frozen=True, slots=True)
class FieldEngine:
    """``solve-field`` with its index files.

    Attributes
    ----------
    program : str
        Its path.
    index_files : tuple of IndexFile
    """

    program: str
    index_files: tuple[IndexFile, ...]

    @property
    def name(self) -> str:
        """What to call it."""
        return "solve-field"

    def match(self, task: Task, children: Children) -> Match | None:
        """See `Engine`."""
        scale = task.hints.scale_range(task.size_px[0])
        files = useful(self.index_files, scale, task.size_px)
        if not files:
            return None
        write_star_list(task.folder / "stars.xyls", task.stars.pixels, task.stars.flux)
        _write_settings(task.folder / "engine.cfg", files, task.limit_s)
        command = [self.program, "--config", "engine.cfg", *_SETTINGS, *_told(task, scale), "stars.xyls"]
        try:
            ended = children.run(command, task.folder, task.limit_s)
        except OSError as error:
            raise EngineError(
                f"{self.name} cannot be started ({printable(error.strerror or error)})"
            ) from None
        return read_match(task, ended, self.name, "frame.wcs", "frame.corr")

    def missing_sizes(self, hints: Hints, size_px: tuple[int, int]) -> tuple[float, float] | None:
        """See `Engine`."""
        if hints.scale_arcsec is None:
            return None
        return missing_sizes(self.index_files, hints.scale_arcsec, size_px)


def _write_settings(path: Path, files: tuple[IndexFile, ...], limit_s: float) -> None:
    folders = dict.fromkeys(index.path.parent for index in files)
    lines = [
        "inparallel",
        f"cpulimit {max(1, round(limit_s))}",
        *(f"add_path {folder}" for folder in folders),
        *(f"index {index.path.name}" for index in files),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _told(task: Task, scale: tuple[float, float]) -> list[str]:
    width, height = task.size_px
    told = ["--width", str(width), "--height", str(height), "--scale-units", "arcsecperpix"]
    told += ["--scale-low", f"{scale[0]:.6g}", "--scale-high", f"{scale[1]:.6g}"]
    place = task.hints.place
    if place is not None:
        told += ["--ra", f"{place.right_ascension_deg:.5f}", "--dec", f"{place.declination_deg:.5f}"]
        told += ["--radius", f"{place.radius_deg:.3f}"]
    return told


def read_match(task: Task, ended: Ended, name: str, solution: str, pairs: str | None) -> Match | None:
    """Read what a solver left in its folder.

    Parameters
    ----------
    task : Task
    ended : Ended
        How it ended.
    name : str
        Of the solver, printable.
    solution, pairs : str
        Names of its files in the folder; None where it lists no matched stars.

    Returns
    -------
    Match or None
        None where it ended well and found nothing.

    Raises
    ------
    EngineError
        It crashed, or what it wrote cannot be read.
    """
    file = task.folder / solution
    if not file.is_file():
        if ended.exit_code in (0, None):
            return None
        raise EngineError(f"{name} ended with exit code {ended.exit_code}{last_words(ended.output)}")
    try:
        if file.stat().st_size > _LARGEST_BYTES:
            raise EngineError(f"{name} wrote a solution that is too large to be one")
        found = read_engine_solution(file, task.size_px)
        table = task.folder / pairs if pairs else None
        if table is None or not table.is_file():
            return Match(found)
        return Match(found, *read_star_pairs(table))
    except FrameError as error:
        raise EngineError(f"{name} wrote a solution that cannot be read: it {error.reason}") from None


def last_words(output: str) -> str:
    """Return the last line that a program wrote, for a message: printable, after a colon, or nothing.

    Parameters
    ----------
    output : str

    Returns
    -------
    str
    """
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    return f": {printable(lines[-1], 160)}" if lines else ""
