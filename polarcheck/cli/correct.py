"""``polarcheck correct``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from polarcheck.cli.shared import ending, found_rig, pair, parsed, progress_line, site_option

__all__ = ["correct_command"]


def correct_command(
    alignment: Annotated[
        list[Path] | None,
        typer.Argument(help="A folder or files of solved frames, or a kept result.", metavar="ALIGNMENT"),
    ] = None,
    error: Annotated[
        str | None,
        typer.Option(help="Instead of frames: azimuth and altitude error, arcmin.", metavar="AZ,ALT"),
    ] = None,
    site: Annotated[
        str | None,
        typer.Option(help="Latitude north and longitude east positive, degrees.", metavar="LAT,LON[,HEIGHT]"),
    ] = None,
    rig: Annotated[
        Path | None, typer.Option(help="Rig file: how the knobs act.", metavar="FILE.toml")
    ] = None,
    pole: Annotated[Literal["refracted", "true"] | None, typer.Option(help="Where to aim.")] = None,
    pressure: Annotated[
        float | None, typer.Option(help="Air pressure at the site; 0: no refraction.", metavar="HPA")
    ] = None,
    temperature: Annotated[float | None, typer.Option(help="Air temperature.", metavar="DEG_C")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """Tell which knob to turn, which way and how far, and whether it is worth it.

    Example: polarcheck correct result.json --rig rig.toml
    """
    error_arcmin = None if error is None else parsed("--error", error, pair)
    place = site_option(site)
    with ending():
        from polarcheck.correction import correct
        from polarcheck.knobs import knob_specs
        from polarcheck.report.correction_text import correction_object, correction_text
        from polarcheck.report.json_text import json_text
        from polarcheck.report.text import notice_text
        from polarcheck.source import alignment_from

        rig_file = found_rig(rig, alignment or [])
        found, notices = alignment_from(
            alignment or [],
            error_arcmin=error_arcmin,
            site=place,
            fallback_site=rig_file.site if rig_file else None,
            pole=pole,
            pressure_hpa=pressure,
            temperature_c=temperature,
            progress=progress_line(),
        )
        correction = correct(found, *knob_specs(rig_file, found.site.is_north), found.site.is_north)
        typer.echo(
            json_text(correction_object(correction)) if as_json else correction_text(correction, found)
        )
        for notice in notices:
            typer.echo(notice_text(notice), err=True)
