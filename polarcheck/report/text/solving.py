"""Solved and unsolved frames, on a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from polarcheck.report.text.lines import Column, more_line, named_line, some_of, table, wrapped
from polarcheck.report.text.words import counted
from polarcheck.solving import STAR_SOURCES, SolvedFrame, SolvedSet, State

__all__ = ["solved_text", "unsolved_text"]

_MOST_ROWS, _MOST_LEFT = 60, 20
_COLUMNS = (
    Column("frame", "<", "clip"),
    Column("RA\ndeg"),
    Column("Dec\ndeg"),
    Column("scale\narcsec/px"),
    Column("stars"),
    Column("rms\npx"),
    Column("time\ns", narrow="drop"),
)


def solved_text(solved: SolvedSet) -> str:
    """Return the whole answer of ``polarcheck solve``."""
    new, old = solved.some(State.SOLVED), solved.some(State.WAS_SOLVED)
    head = f"Solved: {counted(len(new), 'frame')}{_by(new)}."
    if old:
        head += f" {len(old)} had a solution already and {'was' if len(old) == 1 else 'were'} left alone."
    if solved.was_stopped:
        head += " Stopped early; what is solved is kept."
    parts = [wrapped(head)]
    if new:
        rows = table(_COLUMNS, [_row(frame) for frame in new[:_MOST_ROWS]])
        parts.append(rows + ("\n" + more_line(len(new) - _MOST_ROWS) if len(new) > _MOST_ROWS else ""))
        parts += [text for text in (_from(new), _where(new)) if text]
    left = unsolved_text(solved)
    return "\n\n".join([*parts, left] if left else parts)


def unsolved_text(solved: SolvedSet) -> str:
    """Return which frames could not be solved and why; empty where all could."""
    left = solved.some(State.UNSOLVED)
    lines = [named_line(frame.name, str(frame.reason)) for frame in left]
    return "\n".join([f"Not solved: {len(left)}", *some_of(lines, _MOST_LEFT)]) if left else ""


def _row(frame: SolvedFrame) -> tuple[str, ...]:
    ra, dec = frame.place_deg or (0.0, 0.0)
    return (
        frame.name,
        f"{ra:.4f}",
        f"{dec:+.4f}",
        f"{frame.scale_arcsec:.4f}",
        "unknown" if frame.matched_stars is None else str(frame.matched_stars),
        "unknown" if frame.residual_rms_px is None else f"{frame.residual_rms_px:.2f}",
        f"{frame.seconds:.1f}",
    )


def _by(frames: Sequence[SolvedFrame]) -> str:
    engines = sorted({frame.engine for frame in frames if frame.engine})
    return f" with {' and '.join(engines)}" if engines else ""


def _from(frames: Sequence[SolvedFrame]) -> str:
    """Where the places of the matched stars come from."""
    counts: Counter[str] = Counter()
    for frame in frames:
        counts.update(dict(frame.stars_from))
    whole = sum(counts.values())
    shares = [
        f"{100 * count / whole:.0f} % from {STAR_SOURCES.get(name, name)}"
        for name, count in counts.most_common()
        if count
    ]
    return wrapped(f"{_fitted(frames)} Places of the stars: {'; '.join(shares)}.") if shares else ""


def _fitted(frames: Sequence[SolvedFrame]) -> str:
    orders = sorted({frame.lens_order for frame in frames if frame.lens_order is not None})
    if not orders:
        return "The solver's own solutions."
    some = sum(1 for frame in frames if frame.lens_order is None)
    kept = f" {counted(some, 'frame')} kept the solver's own solution." if some else ""
    lens = f"a distortion of order {' and '.join(map(str, orders))}" if orders != [1] else "no distortion"
    return f"Attitudes fitted again through one lens, with {lens}; the solver's own stand beside them.{kept}"


def _where(frames: Sequence[SolvedFrame]) -> str:
    beside = sum(1 for f in frames if f.solution is not None and f.solution.parent == f.path.parent)
    if beside == len(frames):
        return wrapped("Each solution is kept beside its frame, as NAME.wcs.")
    return wrapped("The solutions are kept in the folder that was named; they hold time and place, too.")
