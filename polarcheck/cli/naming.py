"""What the command line calls the parameters of the library: the one place where both names stand together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import typer

__all__ = ["given_option", "hint", "solving_hint"]

_OPTIONS = {
    "camera_angle_deg": "--camera-angle",
    "clock_ahead_s": "--clock-ahead",
    "error_arcmin": "--error",
    "focal_length_mm": "--focal-length",
    "fwhm_arcsec": "--fwhm",
    "frames_guided": "--guiding",
    "guide_offset_deg": "--guide-offset",
    "noise_px": "--noise-px",
    "pixel_size_um": "--pixel-size",
    "pressure_hpa": "--pressure",
    "index_folders": "--index",
    "into": "--into",
    "recursive": "--recursive",
    "relative_humidity": "--humidity",
    "rig": "--rig",
    "scale_arcsec": "--scale",
    "sensor_px": "--sensor",
    "site": "--site",
    "target_deg": "--target",
    "temperature_c": "--temperature",
    "tolerance": "--tolerance",
    "turned": "--turned",
    "utc": "--at",
    "zone": "--zone",
}


def hint(context: typer.Context | None, parameters: Sequence[str]) -> str:
    """Say which options of a command stand for parameters: ``See --site LAT,LON[,HEIGHT] or --rig FILE.toml.``

    Parameters
    ----------
    context : typer.Context or None
        Of the running command.
    parameters : sequence of str
        As the library names them.

    Returns
    -------
    str
        Empty where the command has none of them.
    """
    found = [option for option in (_option(context, name) for name in parameters) if option is not None]
    named = [" ".join([option.opts[0], *([option.metavar] if option.metavar else [])]) for option in found]
    if not named:
        return ""
    return f"See {' or '.join([', '.join(named[:-1]), named[-1]] if named[1:] else named)}."


def solving_hint(context: typer.Context | None) -> str:
    """Say how unsolved frames are solved: with an option of the running command where it has one."""
    options = [] if context is None else context.command.params
    here = ", or run this with --solve" if any("--solve" in option.opts for option in options) else ""
    return f"Plate-solve them with `polarcheck solve FOLDER`{here}."


def given_option(context: typer.Context | None, parameter: str) -> str | None:
    """Return the option by which the command line gave a parameter; None where it did not."""
    option = _option(context, parameter)
    if context is None or option is None:
        return None
    source = context.get_parameter_source(option.name)
    return str(option.opts[0]) if source is not None and source.name == "COMMANDLINE" else None


def _option(context: typer.Context | None, parameter: str) -> Any:
    """Return the command's option for a parameter of the library, if it has one."""
    options = [] if context is None else context.command.params
    return next((option for option in options if _OPTIONS.get(parameter) in option.opts), None)
