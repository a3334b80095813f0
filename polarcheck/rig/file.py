"""The rig file: optics, camera, guiding, mount, knobs and site, as TOML, strictly checked.

Every key is optional; a command asks for what it needs. An unknown key, a value of the wrong kind or an
impossible one is refused with its line and the nearest right key.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from polarcheck.axis import Reach
from polarcheck.errors import InputError
from polarcheck.given import PathLike, as_path
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable
from polarcheck.rig.faults import first_fault
from polarcheck.rig.finding import LARGEST_RIG_BYTES, RigPlace
from polarcheck.rig.limits import rig_reach
from polarcheck.rig.solver_table import SolverTable
from polarcheck.rig.tables import CameraTable, Guiding, Mount, OpticsTable, RigTables
from polarcheck.site import Site

__all__ = ["Rig", "as_rig", "check_rig_text", "read_rig"]


@dataclass(frozen=True, slots=True)
class Rig:
    """What a rig file says.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    optics, camera, guiding, mount
        Its tables.
    site : Site or None
        Where, if it says so.
    horizon : list of [azimuth, altitude], or None
        What hides the sky there. [deg]
    solver : SolverTable
        The plate solver.
    zone : str or None
        Time zone of the clock that people there read.
    place : {"named", "beside the frames", "in the current folder", "in the configuration folder"}
        Why this file is the one in use.
    """

    path: Path
    optics: OpticsTable
    camera: CameraTable
    guiding: Guiding
    mount: Mount
    site: Site | None
    horizon: list[list[float]] | None = None
    place: RigPlace = "named"
    solver: SolverTable = field(default_factory=SolverTable)
    zone: str | None = None

    @property
    def reach(self) -> Reach:
        """Where this mount can point the camera at this site."""
        return rig_reach(self.mount.limits, self.horizon, changes_side=self.mount.kind in (None, "german"))

    @property
    def pixel_scale_arcsec(self) -> float | None:
        """Arcseconds per pixel at the centre, if focal length and pixel size are known. [arcsec/px]"""
        if self.optics.focal_length_mm is None or self.camera.pixel_size_um is None:
            return None
        return 206.264806 * self.camera.pixel_size_um / self.optics.focal_length_mm


def read_rig(path: PathLike) -> Rig:
    """Read and check a rig file.

    Parameters
    ----------
    path : path
        A TOML file; docs/rig.md tells its keys and their units.

    Returns
    -------
    Rig

    Raises
    ------
    InputError
        With the file's name, the line, what is wrong, and the nearest right key.
    """
    path = as_path(path)
    name = printable(path)
    raw = read_plain_file(path, LARGEST_RIG_BYTES, "a rig file")
    try:
        # some editors begin a file with a byte order mark
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
        content = tomllib.loads(text)
    except UnicodeDecodeError:
        raise InputError(f"{name}: is no UTF-8 text; a rig file is TOML") from None
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        raise InputError(f"{name}: is no valid TOML: {printable(error)}") from None
    file = _checked(content, text, name)
    site = None
    if file.site:
        site = Site(
            file.site.latitude_deg,
            file.site.longitude_deg,
            file.site.height_m,
            f"rig file {printable(path.name)}",
        )
    horizon = file.site.horizon if file.site else None
    return Rig(
        path,
        file.optics,
        file.camera,
        file.guiding,
        file.mount,
        site,
        horizon,
        solver=file.solver,
        zone=file.site.zone if file.site else None,
    )


def as_rig(given: Rig | PathLike | None) -> Rig | None:
    """Return a rig: itself, read from its file, or None where none is given.

    Parameters
    ----------
    given : Rig, path or None
        What a caller gave.

    Returns
    -------
    Rig or None

    Raises
    ------
    InputError
        As `read_rig`.
    """
    return given if given is None or isinstance(given, Rig) else read_rig(given)


def check_rig_text(text: str, path: Path) -> None:
    """Check a rig file's text before it is written.

    Parameters
    ----------
    text : str
        TOML.
    path : pathlib.Path
        Whose text it is to be, for the message.

    Raises
    ------
    InputError
        It would not be a valid rig file.
    """
    _checked(tomllib.loads(text), text, printable(path))


def _checked(content: dict[str, object], text: str, name: str) -> RigTables:
    try:
        return RigTables.model_validate(content)
    except ValidationError as error:
        raise InputError(f"{name}: {first_fault(error, text)}") from None
