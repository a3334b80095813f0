"""Read one solved frame."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module
from pathlib import Path

import erfa

from polarcheck.frames.cards import UnusableError
from polarcheck.frames.clock import Clock, gps_agrees, is_local
from polarcheck.frames.companions import is_header_only
from polarcheck.frames.exposure_time import mid_exposure
from polarcheck.frames.frame import Frame
from polarcheck.frames.header_site import header_site
from polarcheck.frames.loading import Loaded, careful, load, solved_hdu
from polarcheck.frames.solution import Solution, read_wcs
from polarcheck.frames.telescope_cards import telescope_cards
from polarcheck.given import PathLike, as_path
from polarcheck.printable import printable

__all__ = ["load_readers", "read_engine_solution", "read_frame", "read_solution"]


def load_readers() -> None:
    """Load the libraries that reading needs, so that the first frame is read as quickly as the next."""
    for name in ("astropy.io.fits", "astropy.wcs"):
        import_module(name)


def read_frame(path: PathLike, *, clock_ahead_s: float = 0.0, zone: str | None = None) -> Frame:
    """Read one solved frame's header.

    Parameters
    ----------
    path : path
        A FITS image with a solution; an image of any kind with a header-only solution beside it; or that solution.
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    zone : str, optional
        As for `read_frames`.

    Returns
    -------
    Frame

    Raises
    ------
    FrameError
        The file cannot be used; it says why and what to do.
    ParameterError
        `zone` is none.
    """
    file, clock = as_path(path), Clock(clock_ahead_s, zone)
    with careful(file):
        return _frame(load(file), clock)


def _frame(loaded: Loaded, clock: Clock) -> Frame:
    try:
        utc, exposure_s, time_notices = mid_exposure(loaded.cards, clock)
    except UnusableError as error:
        if is_header_only(loaded.path):
            raise UnusableError(
                f"{error}; put the image that it solves beside it", error.parameters
            ) from error
        raise
    solution = _solution(loaded, utc)
    sky, scale, mirrored = solution.sampled()
    site, site_notices = header_site(loaded.cards)
    return Frame(
        path=loaded.path,
        name=printable(loaded.path.name),
        folder="",
        width_px=solution.width_px,
        height_px=solution.height_px,
        sky=sky,
        utc=utc,
        exposure_s=exposure_s,
        pixel_scale_arcsec=scale,
        mirrored=mirrored,
        site=site,
        solution_file=loaded.solution_file,
        notices=(*solution.notices, *time_notices, *site_notices),
        clock_ahead_s=clock.ahead_s,
        zone=clock.zone,
        trusts_zone=is_local(loaded.cards) and not gps_agrees(loaded.cards, utc),
        telescope=telescope_cards(loaded.cards),
        matrix_deg=solution.matrix_deg,
    )


def _solution(loaded: Loaded, utc: tuple[float, float] | None) -> Solution:
    epoch = None if utc is None else float(erfa.epb(*utc))
    solution = read_wcs(loaded.solution_hdu, loaded.size_px, epoch)
    return replace(solution, notices=loaded.notices + solution.notices) if loaded.notices else solution


def read_solution(path: Path, *, clock_ahead_s: float = 0.0, zone: str | None = None) -> Solution:
    """Read a frame's plate solution, to carry pixels to ICRS and back.

    Parameters
    ----------
    path : pathlib.Path
        As for `read_frame`.
    clock_ahead_s, zone
        As for `read_frame`; a solution in FK4 depends on the time.

    Returns
    -------
    Solution

    Raises
    ------
    FrameError
        The file cannot be used.
    """
    clock = Clock(clock_ahead_s, zone)
    with careful(path):
        loaded = load(path)
        try:
            utc = mid_exposure(loaded.cards, clock)[0]
        except UnusableError:
            utc = None
        solution = _solution(loaded, utc)
        solution.sampled()
        return solution


def read_engine_solution(path: Path, size_px: tuple[int, int]) -> Solution:
    """Read what a plate solver wrote about an image of a known size, and see that it gives a sky.

    Parameters
    ----------
    path : pathlib.Path
        The solver's header-only file, or its solved copy.
    size_px : tuple of int
        Width and height of the image. [px]

    Returns
    -------
    Solution

    Raises
    ------
    FrameError
        It is damaged, half written, or holds no solution.
    """
    with careful(path):
        solution = read_wcs(solved_hdu(path)[1], size_px, None)
        solution.sampled()
        return solution
