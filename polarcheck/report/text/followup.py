"""The axis after the knobs were turned, on a terminal."""

from __future__ import annotations

from polarcheck.followup import Followed
from polarcheck.knobs import ClampShift
from polarcheck.report.text.lines import named_line, wrapped
from polarcheck.report.text.measurement import error_table
from polarcheck.report.text.rounding import with_sigma
from polarcheck.report.text.words import counted, rig_words, utc_text
from polarcheck.rig import Rig

__all__ = ["UNSEEN", "followed_text"]


UNSEEN = (
    "That holds if declination and camera stayed clamped since the result before: frames at one place cannot tell a bump "
    "of these from a turn of the knobs. Frames at two or three right-ascension positions can."
)
"""What frames at one place take for granted."""


def followed_text(followed: Followed, command: str | None = None, rig: Rig | None = None) -> str:
    """Return the whole answer of ``polarcheck follow``.

    Parameters
    ----------
    followed : Followed
    command : str, optional
        The next command, ready to paste.
    rig : Rig, optional
        The rig file that says how the knobs act; it is named.
    """
    alignment, frames = followed.alignment, counted(len(followed.frames), "frame")
    moved = (
        f"It moved by {followed.moved_azimuth_arcmin:+.2f} arcmin in azimuth and "
        f"{followed.moved_altitude_arcmin:+.2f} in altitude since the result before."
    )
    head = wrapped(f"Polar axis now, from {frames}, as of {utc_text(alignment.steps[-1].utc)}.")
    left = [named_line(p.name, p.reason) for p in followed.problems if not p.is_sidecar]
    tail = ["", f"Left out: {len(left)}", *left] if left else []
    if followed.early:
        count = len(followed.early)
        older = "1 older frame is" if count == 1 else f"{count} older frames are"
        tail += ["", wrapped(f"{older} not counted: the result before knows them.")]
    return "\n".join(
        [
            head,
            "",
            error_table(alignment, followed.error),
            "",
            wrapped(moved),
            *([wrapped(f"Knobs as in the {rig_words(rig)}.")] if rig else []),
            *([] if followed.sees_camera else ["", wrapped(UNSEEN)]),
            *([_shift_text(followed.clamp_shift)] if followed.clamp_shift else []),
            *tail,
            *(["", command] if command else []),
        ]
    )


def _shift_text(shift: ClampShift) -> str:
    azimuth, plus = with_sigma(shift.azimuth_arcmin, shift.azimuth_sigma_arcmin)
    altitude, more = with_sigma(shift.altitude_arcmin, shift.altitude_sigma_arcmin)
    return wrapped(
        f"Tightening shifted the axis: clamp_shift_arcmin = [{azimuth}, {altitude}], sigma {plus} and {more}."
    )
