"""The options about the plate solver, and frames solved on the way to another command."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import sky, solving, times
from polarcheck.cli.parsing import parsed
from polarcheck.cli.progress import progress_line
from polarcheck.errors import ParameterError

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["SolverOptions", "solved_here"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolverOptions:
    """What the solver is told."""

    scale: Annotated[
        str | None,
        typer.Option(
            help="Pixel scale, arcsec per pixel: 1.1,1.3, or 1.2 for within 5 %. Else from rig file or header.",
            metavar="LOW,HIGH",
        ),
    ] = None
    near: Annotated[
        str | None,
        typer.Option(
            help="Where the frames look, within 20 deg: RA,DEC or a name. Else from the header.",
            metavar="RA,DEC|NAME",
        ),
    ] = None
    limit: Annotated[
        str | None, typer.Option(help="What one frame may take: 30s (the default), 2min.", metavar="DURATION")
    ] = None
    index: Annotated[
        list[Path] | None,
        typer.Option(
            help="A folder of index files, beside the usual ones; may be repeated.", metavar="FOLDER"
        ),
    ] = None

    def solver(
        self, rig_file: Rig | None, into: Path | None = None, *, refits: bool = True
    ) -> solving.Solver:
        """Return the solver with its settings."""
        limit = solving.LIMIT_S if self.limit is None else parsed("--limit", self.limit, times.parse_duration)
        if not 0.1 <= limit <= 86_400:
            raise typer.BadParameter("must be from 0.1s to 24h", param_hint="--limit")
        for folder in self.index or ():
            if not folder.is_dir():
                raise ParameterError(f"there is no folder '{folder}'", "index_folders")
        place = None
        if self.near is not None:
            place = solving.Place(*parsed("--near", self.near, sky.find_target).place)
        return solving.Solver(
            index_folders=tuple(self.index or ()),
            limit_s=limit,
            scale_arcsec=None if self.scale is None else parsed("--scale", self.scale, solving.parse_scale),
            rig_scale_arcsec=None if rig_file is None else rig_file.pixel_scale_arcsec,
            place=place,
            site=None if rig_file is None else rig_file.site,
            into=into,
            refits=refits,
        )


def solved_here(
    frames: list[Path], solver: solving.Solver, *, recursive: bool = False, again: bool = False
) -> solving.SolvedSet:
    """Solve frames, with progress; a request to end ends the solvers first."""
    with _ended_gently():
        return solving.solve_frames(
            frames,
            solver,
            recursive=recursive,
            again=again,
            progress=progress_line(0, "solving frame", with_time_left=True),
        )


@contextmanager
def _ended_gently() -> Iterator[None]:
    """Take a request to end (SIGTERM) as the interrupt key, so that no solver is left running."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
