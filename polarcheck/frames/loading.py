"""One frame's headers brought together: image, solution, time and place."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from polarcheck.errors import FrameError, Notice, UnfinishedError, UnsolvedError
from polarcheck.frames.cards import Cards, NotSolvedError, NotWholeError, UnusableError
from polarcheck.frames.companions import image_beside, is_header_only, is_solved_copy, solution_beside
from polarcheck.frames.headers import Hdu
from polarcheck.frames.image_files import hdus
from polarcheck.frames.kinds import Kind, kind_of
from polarcheck.frames.solution import has_solution
from polarcheck.printable import printable
from polarcheck.quiet import WhileAny, quiet

__all__ = ["Loaded", "careful", "image_cards", "load", "solved_hdu"]

_NOT_SOLVED = "is not solved: its header holds no celestial WCS (CTYPE1, CTYPE2); plate-solve it first"


@dataclass(frozen=True, slots=True)
class Loaded:
    """The headers behind one frame.

    Attributes
    ----------
    path : pathlib.Path
        The image, or the header-only solution without one.
    hdu_index : int
        Number of the image's HDU in `path`.
    solution_hdu : Hdu
        Where the solution stands.
    cards : Cards
        Time and place.
    size_px : tuple of int
        Width and height of the image. [px]
    solution_file : pathlib.Path or None
        The header-only file that holds the solution, where there is an image too.
    notices : tuple of Notice
    """

    path: Path
    hdu_index: int
    solution_hdu: Hdu
    cards: Cards
    size_px: tuple[int, int]
    solution_file: Path | None = None
    notices: tuple[Notice, ...] = ()


@contextmanager
def _disabled_log() -> Iterator[None]:
    from astropy import log

    was_disabled = log.disabled
    log.disabled = True
    try:
        yield
    finally:
        log.disabled = was_disabled


_quiet_log = WhileAny(_disabled_log)


@contextmanager
def careful(path: Path) -> Iterator[None]:
    """Turn whatever a damaged header makes astropy raise into FrameError, and keep astropy quiet."""
    try:
        with _quiet_log, quiet():
            yield
    except FrameError:
        raise
    except UnusableError as error:
        kinds = {NotSolvedError: UnsolvedError, NotWholeError: UnfinishedError}
        raise kinds.get(type(error), FrameError)(path, str(error), error.parameters) from error
    except Exception as error:  # astropy raises nearly every kind for a damaged header
        lines = str(error).strip().splitlines() or [type(error).__name__]  # wcslib's own last line says most
        what = printable(lines[-1].strip(), 120)
        raise FrameError(path, f"its header is damaged ({what}); solve the image again") from error


def load(path: Path) -> Loaded:
    """Bring together the headers of a frame from an image, a solved copy or a header-only solution.

    A header-only solution beside an image wins over any solution in the image itself, since a solver
    made it and some programs write a rough one.

    Raises
    ------
    UnusableError
        The file, or its partner, cannot be used.
    """
    if is_header_only(path):
        image = image_beside(path)
        return _alone(path) if image is None else _pair(image, path)
    solution = None if is_solved_copy(path) else solution_beside(path)
    return _alone(path) if solution is None else _pair(path, solution)


def _alone(path: Path) -> Loaded:
    primary, hdu = solved_hdu(path)
    size = hdu.shape[:2] if len(hdu.shape) >= 2 else _said_size(Cards(hdu.header))
    if size is None:
        raise UnusableError(
            "its header does not say the size of the image (NAXIS1, NAXIS2 or IMAGEW, IMAGEH)"
        )
    return Loaded(
        path, hdu.index, hdu, Cards(hdu.header, primary.header), _checked(size), notices=hdu.notices
    )


def _pair(image: Path, solution: Path) -> Loaded:
    name = printable(solution.name, 60)
    try:
        _, solved = solved_hdu(solution)
    except UnusableError as error:
        raise type(error)(
            f"its solution {name} cannot be used: it {error} (or remove {name})", error.parameters
        ) from error
    primary, hdu = _image_hdu(image)
    size = _checked(hdu.shape[:2])
    said = _said_size(Cards(solved.header))
    notices: tuple[Notice, ...] = ()
    if said not in (None, size):
        text = f"{name} was solved on an image of {said} px, not {size} px: is it of this image?"
        notices = (Notice("size-mismatch", text),)
    cards = Cards(hdu.header, primary.header)
    return Loaded(image, hdu.index, solved, cards, size, solution, (*notices, *hdu.notices))


def solved_hdu(path: Path) -> tuple[Hdu, Hdu]:
    """Return a file's primary header and the first one with a solution."""
    primary: Hdu | None = None
    for hdu in hdus(path):
        primary = primary or hdu
        if hdu.is_image and has_solution(hdu):
            return primary, hdu
    if kind_of(path) is not Kind.FITS:
        raise NotSolvedError(
            f"is not solved: no {printable(path.stem, 60)}.wcs lies beside it; plate-solve it first"
        )
    raise NotSolvedError(_NOT_SOLVED)


def _image_hdu(path: Path) -> tuple[Hdu, Hdu]:
    primary: Hdu | None = None
    for hdu in hdus(path):
        primary = primary or hdu
        if hdu.is_image and len(hdu.shape) >= 2:
            return primary, hdu
    raise UnusableError("holds no image")


def image_cards(path: Path) -> Cards:
    """Return the cards about time and place of an image that need not be solved."""
    primary, hdu = _image_hdu(path)
    return Cards(hdu.header, primary.header)


def _said_size(cards: Cards) -> tuple[int, int] | None:
    width, height = cards.number("IMAGEW"), cards.number("IMAGEH")
    return None if width is None or height is None else (int(width), int(height))


def _checked(size: tuple[int, ...]) -> tuple[int, int]:
    width, height = size
    if not (2 <= width <= 1_000_000 and 2 <= height <= 1_000_000):
        raise UnusableError(f"its image has an impossible size: {width} x {height} px")
    return width, height
