"""The rig file: optics, camera, guiding, mount, knobs and site, as TOML, strictly checked.

Every key is optional; a command asks for what it needs. An unknown key, a value of the wrong kind or an
impossible one is refused with its line and the nearest right key.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from polarcheck.axis import Reach
from polarcheck.errors import InputError
from polarcheck.given import PathLike, as_path
from polarcheck.plain_file import read_plain_file
from polarcheck.printable import printable
from polarcheck.rig.finding import LARGEST_RIG_BYTES, RigPlace
from polarcheck.rig.limits import LimitsTable, require_horizon, rig_reach
from polarcheck.rig.solver_table import SolverTable
from polarcheck.site import Site
from polarcheck.times import check_zone

__all__ = [
    "CameraTable",
    "Guiding",
    "Knob",
    "Mount",
    "OpticsTable",
    "Rig",
    "as_rig",
    "check_rig_text",
    "read_rig",
]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
OffsetDeg = Annotated[float, Field(ge=-45, le=45, allow_inf_nan=False)]
ShiftArcmin = Annotated[float, Field(ge=-600, le=600, allow_inf_nan=False)]


class OpticsTable(_Table):
    """The telescope or lens that the camera looks through."""

    focal_length_mm: Annotated[float, Field(ge=4, le=50_000, allow_inf_nan=False)] | None = None


def _zone(name: str) -> str:
    try:
        return check_zone(name)
    except InputError as error:
        raise ValueError(str(error)) from None


class CameraTable(_Table):
    """The camera's sensor, and the time zone of its clock where its files do not name it."""

    pixel_size_um: Annotated[float, Field(ge=0.5, le=100, allow_inf_nan=False)] | None = None
    width_px: Annotated[int, Field(ge=16, le=100_000)] | None = None
    height_px: Annotated[int, Field(ge=16, le=100_000)] | None = None
    zone: Annotated[str, AfterValidator(_zone)] | None = None


class Guiding(_Table):
    """Where the guide star stands from the field's centre, east and north. [deg]"""

    offset_deg: Annotated[list[OffsetDeg], Field(min_length=2, max_length=2)] | None = None


_KNOB_LIMITS = {
    "arcmin_per_turn": (0.01, 21_600),
    "thread_pitch_mm": (0.05, 50),
    "lever_mm": (1, 5_000),
    "arcmin_per_turn_sigma": (0.0001, 21_600),
    "backlash_turns": (0, 100),
    "smallest_turn": (0.0001, 1),
}
"""Beyond these it is another unit."""


class Knob(_Table):
    """How a knob moves the axis.

    Of opposed bolts one goes in while the other comes out by as much. Then ``clockwise_moves`` is said of the
    bolt on the east side (azimuth) or on the pole's side (altitude).
    """

    kind: Literal["screw", "opposed bolts"] = "screw"
    arcmin_per_turn: Positive | None = None
    arcmin_per_turn_sigma: Positive | None = None
    thread_pitch_mm: Positive | None = None
    lever_mm: Positive | None = None
    clockwise_moves: Literal["east", "west", "up", "down"] | None = None
    backlash_turns: NotNegative | None = None
    smallest_turn: Positive | None = None
    travel_arcmin: Annotated[float, Field(ge=5, lt=10_800, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _whole(self) -> Knob:
        if (self.thread_pitch_mm is None) != (self.lever_mm is None):
            raise ValueError("thread_pitch_mm and lever_mm belong together")
        for key, (least, most) in _KNOB_LIMITS.items():
            value = getattr(self, key)
            if value is not None and not least <= value <= most:
                raise ValueError(f"{key} = {value:g} is not within {least:g} to {most:g}")
        return self


class Mount(_Table):
    """The equatorial mount and its two adjustment knobs.

    ``goal_arcmin`` is the total error that is near enough. ``flexure_arcsec`` is how far sag (where the tube lies level)
    and creep (during a sweep) turn the camera. ``clamp_shift_arcmin`` is the axis after re-tightening minus before:
    azimuth about the vertical, altitude.
    """

    azimuth: Knob | None = None
    altitude: Knob | None = None
    periodic_error_arcsec: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] | None = None
    worm_period_s: Annotated[float, Field(ge=5, le=86_400, allow_inf_nan=False)] | None = None
    goal_arcmin: Annotated[float, Field(ge=0.01, le=600, allow_inf_nan=False)] | None = None
    flexure_arcsec: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] | None = None
    clamp_shift_arcmin: Annotated[list[ShiftArcmin], Field(min_length=2, max_length=2)] | None = None
    kind: Literal["german", "fork", "tracker"] | None = None
    limits: LimitsTable = LimitsTable()

    @model_validator(mode="after")
    def _senses(self) -> Mount:
        for name, knob, senses in (
            ("azimuth", self.azimuth, ("east", "west")),
            ("altitude", self.altitude, ("up", "down")),
        ):
            if knob and knob.clockwise_moves and knob.clockwise_moves not in senses:
                raise ValueError(f'{name}.clockwise_moves must be "{senses[0]}" or "{senses[1]}"')
        return self


class SitePlace(_Table):
    """Where the mount stands."""

    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=360)]
    height_m: Annotated[float, Field(ge=-1000, le=10_000)] = 0.0
    horizon: list[list[Finite]] | None = None
    zone: Annotated[str, AfterValidator(_zone)] | None = None

    @field_validator("horizon")
    @classmethod
    def _profile(cls, profile: list[list[float]] | None) -> list[list[float]] | None:
        if profile is not None:
            require_horizon(profile)
        return profile


class _RigFile(_Table):
    optics: OpticsTable = OpticsTable()
    camera: CameraTable = CameraTable()
    guiding: Guiding = Guiding()
    mount: Mount = Mount()
    site: SitePlace | None = None
    solver: SolverTable = SolverTable()

    @field_validator("site", mode="before")
    @classmethod
    def _nothing_said(cls, table: object) -> object:
        return None if table == {} else table


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


def _checked(content: dict[str, object], text: str, name: str) -> _RigFile:
    try:
        return _RigFile.model_validate(content)
    except ValidationError as error:
        raise InputError(f"{name}: {_first_fault(error, text)}") from None


_SAID = {
    "float_type": "must be a number",
    "bool_type": "must be true or false",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "literal_error": "must be {expected}",
    "list_type": "must be a list of two numbers",
    "too_short": "must be a list of two numbers",
    "too_long": "must be a list of two numbers",
    "model_type": "is a table with keys of its own",
    "missing": "is missing",
}
_KEY_FIRST = re.compile(r"([a-z_.]+) (?:= |must )")  # how this file's own validators name a key


def _first_fault(error: ValidationError, text: str) -> str:
    """Return one fault; an unknown key first, since it may be why another is missing."""
    faults = error.errors(include_url=False)
    fault = next((fault for fault in faults if fault["type"] == "extra_forbidden"), faults[0])
    where = tuple(part for part in fault["loc"] if isinstance(part, str))
    name = ".".join(printable(part) for part in where)
    if fault["type"] == "extra_forbidden":
        return f"{_place(where, text)}unknown key {name}{_hint(where)}"
    if fault["type"] == "value_error":
        message = fault["msg"].removeprefix("Value error, ")
        if key := _KEY_FIRST.match(message):
            return f"{_place((*where, *key[1].split('.')), text)}{name}.{message}"
        return f"{_place(where, text)}{name}: {message}"
    message = _SAID.get(fault["type"], fault["msg"]).format(**fault.get("ctx", {}))
    given = f", not {_as_toml(fault['input'])}" if fault["type"] != "missing" else ""
    return f"{_place(where, text)}{name or 'the file'} {message}{given}"


def _hint(where: tuple[str, ...]) -> str:
    """Return the nearest key of the same table, else where that key belongs, else what the table knows."""
    table, key = where[:-1], where[-1]
    known = _keys_of(table)
    tables = (
        ("optics",),
        ("camera",),
        ("guiding",),
        ("mount",),
        ("mount", "azimuth"),
        ("mount", "limits"),
        ("site",),
        ("solver",),
    )
    for other in tables:
        if key in _keys_of(other):
            return f"; did you mean {key} in [{'.'.join(other)}]?"
    if near := difflib.get_close_matches(key, known, n=1, cutoff=0.4):
        return f"; did you mean {near[0]}?"
    for other in tables:
        if near := difflib.get_close_matches(key, _keys_of(other), n=1, cutoff=0.7):
            return f"; did you mean {near[0]} in [{'.'.join(other)}]?"
    return f"; known here: {', '.join(known)}"


def _as_toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return printable(repr(value) if isinstance(value, (str, list)) else value, 40)


def _place(where: tuple[str, ...], text: str) -> str:
    line = _line_of(where, text)
    return f"line {line}: " if line else ""


def _line_of(where: tuple[str, ...], text: str) -> int | None:
    """Line of a key: first below its table's header, else wherever its last part first stands."""
    if not where:
        return None
    table = r"\s*\.\s*".join(re.escape(part) for part in where[:-1])
    last = re.escape(where[-1])
    header = re.compile(rf"\s*\[\s*{table}\s*\]")
    key = re.compile(rf"\s*[\"']?{last}[\"']?\s*[=.\]]")
    whole = re.compile(rf"\s*\[\[?\s*{r'[ .]*'.join(re.escape(part) for part in where)}\s*\]")
    inline = re.compile(rf".*(?<![\w#]){last}\s*=")
    lines = text.splitlines()
    headers = [i for i, line in enumerate(lines) if header.match(line)]
    start: int = headers[0] if headers else -1
    i: int
    for i in [*range(start + 1, len(lines)), *range(start + 1)]:
        if key.match(lines[i]) or whole.match(lines[i]):
            return i + 1
    if start >= 0:
        return start + 1
    return next((i + 1 for i, line in enumerate(lines) if inline.match(line)), None)


def _keys_of(table: tuple[str, ...]) -> list[str]:
    model: type[BaseModel] = _RigFile
    for part in table:
        field = model.model_fields.get(part)
        annotation = field.annotation if field else None
        kinds = [annotation, *getattr(annotation, "__args__", ())]
        tables = [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)]
        if not tables:
            return []
        model = tables[0]
    return list(model.model_fields)
