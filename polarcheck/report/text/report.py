"""What a page of a night holds, on a terminal."""

from __future__ import annotations

from pathlib import Path

from polarcheck.digest import NightDigest
from polarcheck.printable import printable
from polarcheck.report.text.lines import wrapped
from polarcheck.report.text.measurement import error_table
from polarcheck.report.text.words import counted

__all__ = ["report_text"]


def report_text(night: NightDigest, page: Path | None) -> str:
    """Return where the page is, and the answer in it.

    Parameters
    ----------
    night : NightDigest
    page : pathlib.Path or None
        Where it was written.
    """
    alignment = night.last.alignment
    looked = [row for row in night.frames if row.stars is not None]
    source = (
        "from the night's file"
        if night.source == "night file"
        else "measured now, for want of a night's file"
    )
    holds = (
        f"{counted(len(night.findings), 'finding')} ({source}), {counted(len(night.frames), 'frame')} with "
        f"{counted(len(looked), 'picture')}, {counted(len(night.targets), 'target')}."
    )
    where = "" if page is None else f"{printable(page)}, {page.stat().st_size / 1000:.0f} kB: "
    standing = {
        "as found": "",
        "turned since": "The knobs were turned after this; no frame shows what came of it.",
        "moved since": "The mount was moved after this: nobody knows how it stands now.",
    }[night.standing]
    parts = [wrapped(where + holds), error_table(alignment, alignment.error)]
    return "\n\n".join([*parts, *([wrapped(standing)] if standing else [])])
