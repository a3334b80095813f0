"""``polarcheck measure``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from polarcheck.cli.asking import AimOption, AtOption, ForOption, TargetOption, aim_asked
from polarcheck.cli.shared import ending, found_rig, parsed, progress_line, site_option, writable, write_text
from polarcheck.constants import FRAME_NOISE_PX

__all__ = ["measure_command"]


def measure_command(
    frames: Annotated[
        list[Path],
        typer.Argument(help="Folders, files or patterns of solved frames.", metavar="FOLDER|FILES..."),
    ],
    site: Annotated[
        str | None,
        typer.Option(
            help="Latitude north and longitude east positive, degrees; overrides the headers.",
            metavar="LAT,LON[,HEIGHT]",
        ),
    ] = None,
    rig: Annotated[
        Path | None,
        typer.Option(
            help="Rig file; its site serves where headers have none. Unless named: rig.toml beside the frames, "
            "else in your configuration folder.",
            metavar="FILE.toml",
        ),
    ] = None,
    pole: AimOption = "refracted",
    target: TargetOption = None,
    at: AtOption = None,
    duration: ForOption = None,
    pressure: Annotated[
        float | None, typer.Option(help="Air pressure at the site; 0: no refraction.", metavar="HPA")
    ] = None,
    temperature: Annotated[float | None, typer.Option(help="Air temperature.", metavar="DEG_C")] = None,
    clock_ahead: Annotated[
        str | None,
        typer.Option(
            help="By how much the headers' clock was ahead of UTC: 2h, -5h, 90s.", metavar="DURATION"
        ),
    ] = None,
    noise_px: Annotated[
        float, typer.Option(help="Pointing noise of a frame, where residuals cannot tell.", metavar="PX")
    ] = FRAME_NOISE_PX,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    stars: Annotated[
        bool, typer.Option("--stars", help="Look at the stars; leave out frames that moved while exposed.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(help="Keep the result for later commands.", metavar="FILE.json")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Save a picture: FILE.png or FILE.svg.", metavar="FILE")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> None:
    """Measure the polar axis from solved frames.

    Take three or more frames. Between them turn the mount in right ascension only (declination clamped, nothing else
    touched), 30 deg or more in all, and plate-solve them.

    Example: polarcheck measure frames/ --site 47.3,11.2 --plot axis.png
    """
    ahead = _duration(clock_ahead)
    kind, aim = aim_asked(pole, target, at, duration)
    with ending():
        _check_numbers(pressure, temperature, noise_px)
        writable("--out", out, [".json"])
        writable("--plot", plot, [".png", ".svg"])
        place = site_option(site)
        rig_file = None if place and rig is None else found_rig(rig, frames)
        from polarcheck.alignment import kept_text
        from polarcheck.measurement import Conditions, Reading, measure
        from polarcheck.report import json_text, measurement_object, measurement_text, notice_text

        conditions = Conditions(
            site=place,
            fallback_site=rig_file.site if rig_file else None,
            pressure_hpa=pressure,
            temperature_c=temperature,
            noise_px=noise_px,
            reach=rig_file.reach if rig_file else None,
        )
        result = measure(
            frames,
            pole=kind or "refracted",
            conditions=conditions,
            reading=Reading(ahead, recursive, stars),
            progress=progress_line(3 if stars else 20),
        )
        if aim is not None:
            result = result.aimed_at(aim(result.sky), aim.notices())
        if out is not None:
            write_text(out, kept_text(measurement_object(result, out.parent)))
        if plot is not None:
            from polarcheck.report import save_measurement_picture

            save_measurement_picture(result, plot)
        kept_in = out.parent if out else None
        typer.echo(json_text(measurement_object(result, kept_in)) if as_json else measurement_text(result))
        for notice in result.notices:
            typer.echo(notice_text(notice), err=True)


def _duration(text: str | None) -> float:
    from polarcheck.times import parse_duration

    return 0.0 if text is None else parsed("--clock-ahead", text, parse_duration)


def _check_numbers(pressure: float | None, temperature: float | None, noise_px: float) -> None:
    from polarcheck.errors import InputError
    from polarcheck.sky import Atmosphere

    try:
        Atmosphere(1000.0 if pressure is None else pressure, 10.0 if temperature is None else temperature)
    except InputError as error:
        raise typer.BadParameter(str(error), param_hint="--pressure, --temperature") from None
    if not 1e-4 <= noise_px <= 100:
        raise typer.BadParameter(f"{noise_px:g} is not within 0.0001 to 100", param_hint="--noise-px")
