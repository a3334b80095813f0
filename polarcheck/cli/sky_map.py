"""``polarcheck map``."""

from __future__ import annotations

from polarcheck import report
from polarcheck.cli.alignment_asking import AlignmentOptions, PoleOption
from polarcheck.cli.command import command
from polarcheck.cli.optics_asking import OutlookOptions
from polarcheck.cli.output import OutputOptions, show

__all__ = ["map_command"]


@command
def map_command(
    *,
    alignment: AlignmentOptions,
    pole: PoleOption = None,
    seen: OutlookOptions,
    output: OutputOptions,
) -> None:
    """Map the longest exposure over the sky, hour angle by declination.

    Example: polarcheck map result.json --rig rig.toml --guided --plot sky.png
    """
    output.check()
    ahead, notices = seen.read(alignment.read(pole), alignment.paths)
    found, sky = ahead.alignment, ahead.map()
    output.draw(lambda path: report.save_map_picture(sky, found, path))
    show(
        output.as_json,
        lambda: report.map_object(sky, found, notices),
        lambda: report.map_text(sky, found),
        notices,
    )
