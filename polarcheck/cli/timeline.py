"""``polarcheck timeline``."""

from __future__ import annotations

from polarcheck import report
from polarcheck.cli.alignment_asking import AlignmentOptions, PoleOption
from polarcheck.cli.command import command
from polarcheck.cli.optics_asking import OutlookOptions, RateOption
from polarcheck.cli.output import OutputOptions, show
from polarcheck.cli.target_asking import TargetOptions

__all__ = ["timeline_command"]


@command
def timeline_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    target: TargetOptions,
    seen: OutlookOptions,
    rate: RateOption = "sidereal",
    output: OutputOptions,
) -> None:
    """Follow a target from dusk to dawn: altitude, Moon, and the longest exposure at each time.

    The night is the one that holds --at, else the one that comes next.

    Example: polarcheck timeline result.json --rig rig.toml --target M31 --at 2026-11-14T22:00:00
    """
    place = target.place()
    target.check_moment()
    output.check()
    asked = alignment.read(pole)
    moment = target.moment(asked)
    ahead, notices = seen.read(asked, alignment.paths, rate)
    found, line = ahead.alignment, ahead.timeline(place.place, moment)
    output.draw(lambda path: report.save_timeline_picture(line, place, path))
    show(
        output.as_json,
        lambda: report.timeline_object(line, found, place, notices),
        lambda: report.timeline_text(line, found, place),
        notices,
    )
