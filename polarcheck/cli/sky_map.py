"""``polarcheck map``."""

from __future__ import annotations

from polarcheck import outlook, report
from polarcheck.cli.alignment_asking import AlignmentOptions, PoleOption
from polarcheck.cli.command import command
from polarcheck.cli.optics_asking import MotionOptions, OpticsOptions
from polarcheck.cli.output import OutputOptions, show

__all__ = ["map_command"]


@command
def map_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    motion: MotionOptions,
    optics: OpticsOptions,
    output: OutputOptions,
) -> None:
    """Map the longest exposure over the sky, hour angle by declination.

    Example: polarcheck map result.json --rig rig.toml --guided --plot sky.png
    """
    output.check()
    asked = alignment.read(pole)
    seen = optics.read(asked.rig)
    allowed, notices = motion.allowed(seen, alignment.paths)
    found, notices = asked.alignment, (*asked.notices, *notices)
    sky = outlook.exposure_map(found.axis, found.site, found.sky.air, seen, allowed, guided=motion.guided)
    output.draw(lambda path: report.save_map_picture(sky, found, path))
    show(
        output.as_json,
        lambda: report.map_object(sky, found, notices),
        lambda: report.map_text(sky, found),
        notices,
    )
