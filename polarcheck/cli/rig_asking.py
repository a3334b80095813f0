"""The rig file that a command works with."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from polarcheck import rig
from polarcheck.cli.ending import say
from polarcheck.errors import InputError
from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment
    from polarcheck.errors import Notice

__all__ = ["RigOption", "found_rig", "read_rig_option", "rig_contradictions"]

RigOption = Annotated[
    Path | None,
    typer.Option(
        "--rig",
        help="Rig file: optics, camera, mount, site. Unless named: rig.toml beside the frames, else in this "
        "folder, else in your configuration folder.",
        metavar="FILE.toml",
    ),
]


def read_rig_option(path: Path | None) -> rig.Rig | None:
    """Read the rig file, if one was named."""
    return None if path is None else rig.read_rig(path)


def found_rig(option: Path | None, offered: Sequence[Path], *, told: bool = True) -> rig.Rig | None:
    """Read the rig file in use; one that nobody named is told on stderr, with why it is the one."""
    found = rig.find_rig(option, [folder for offer in offered for folder in _folders(offer)])
    if found is None:
        return None
    try:
        content = rig.read_rig(found.path)
    except InputError as error:
        if option is not None:
            raise
        raise InputError(
            f"{error}\nIt was found without being named; mend it, move it, or name another with --rig."
        ) from None
    if option is None and told:
        say(f"Rig file: {printable(found.path)}, found {found.place}.")
    return replace(content, place=found.place)


def rig_contradictions(content: rig.Rig | None, alignment: Alignment) -> tuple[Notice, ...]:
    """Return where a rig file does not belong to the frames of an alignment."""
    sensor = alignment.sensor
    if sensor is None:
        return rig.rig_notices(content, alignment.site)
    size = (sensor.width_px, sensor.height_px)
    return rig.rig_notices(content, alignment.site, sensor.pixel_scale_arcsec, size)


def _folders(offer: Path) -> list[Path]:
    """Return the folders of a folder, a file or a pattern."""
    if offer.is_dir():
        return [offer]
    if any(sign in str(offer.parent) for sign in "*?["):
        return [Path(folder) for folder in sorted(glob.glob(str(offer.parent)))]  # noqa: PTH207 - may be absolute
    return [offer.parent]
