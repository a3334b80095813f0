"""A result kept with ``--out``, read back; strictly, since files get edited, cut off and mixed up."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from polarcheck.alignment.state import Alignment, FrameFile, Step
from polarcheck.axis import CameraAxis
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import InputError
from polarcheck.frames import SENSOR_WEIGHTS, Sensor
from polarcheck.printable import printable
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole, PoleKind, Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_azalt

__all__ = ["read_alignment"]

_SCHEMAS = ("polarcheck.measure/1", "polarcheck.follow/1")
_LARGEST = 10_000_000  # bytes; a result is a few kilobytes, with ten thousand frames a few megabytes

_ROUNDING = 1e-6  # of a unit vector; numbers are kept to their last digit, but hands may round them


def _direction(vector: list[float]) -> list[float]:
    if not abs(np.linalg.norm(vector) - 1) < _ROUNDING:
        raise ValueError("is no unit vector")
    return vector


def _rotation(matrix: list[list[float]]) -> list[list[float]]:
    rows = np.array(matrix)
    if not (np.abs(rows @ rows.T - np.eye(3)).max() < _ROUNDING and np.linalg.det(rows) > 0):
        raise ValueError("is no rotation")
    return matrix


def _covariance(matrix: list[list[float]]) -> list[list[float]]:
    rows = np.array(matrix)
    least = -_ROUNDING * abs(np.trace(rows))
    if not (np.abs(rows - rows.T).max() <= -least and np.linalg.eigvalsh(rows)[0] >= least):
        raise ValueError("is no covariance")
    return matrix


Number = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]
Altitude = Annotated[float, Field(ge=-90, le=90)]
Pixels = Annotated[int, Field(ge=1, le=1_000_000)]
Vector = Annotated[list[Number], Field(min_length=3, max_length=3)]
Direction = Annotated[Vector, AfterValidator(_direction)]
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]
Matrix = Annotated[list[Vector], Field(min_length=3, max_length=3)]
Place = Annotated[str, Field(min_length=1, max_length=4096)]
Square = Annotated[list[Pair], Field(min_length=2, max_length=2)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="ignore")


class _Site(_Table):
    latitude_deg: Number
    longitude_deg: Number
    height_m: Number
    source: str


class _Air(_Table):
    pressure_hpa: Number
    temperature_c: Number
    relative_humidity: Number
    wavelength_um: Number


class _Axis(_Table):
    azimuth_deg: Number
    altitude_deg: Altitude
    covariance_arcmin2: Annotated[Square, AfterValidator(_covariance)]


class _Pole(_Table):
    azimuth_deg: Number
    altitude_deg: Altitude


class _File(_Table):
    relative: Place | None
    absolute: Place
    clock_ahead_s: Number


class _Camera(_Table):
    width_px: Pixels
    height_px: Pixels
    pixel_scale_arcsec: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    mirrored: bool
    points: Annotated[list[Direction], Field(min_length=9, max_length=9)]
    axis: Direction
    axis_covariance_arcsec2: Annotated[Matrix, AfterValidator(_covariance)]
    attitude: Annotated[Matrix, AfterValidator(_rotation)]
    noise_px: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    roll_noise_ratio: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    degrees_of_freedom: Annotated[int, Field(ge=0)]
    last_frame: str | None
    is_continuous: bool
    last_frame_file: _File | None = None


class _Step(_Table):
    epoch_utc: str
    is_fresh: bool
    azimuth_deg: Number
    altitude_deg: Altitude
    covariance_arcmin2: Annotated[Square, AfterValidator(_covariance)]
    turned: Pair | None
    is_loose: bool = False


class _Result(_Table):
    schema_: str = Field(alias="schema")
    site: _Site
    atmosphere: _Air
    aim: Literal["refracted", "true", "target"]
    pole: _Pole
    axis: _Axis
    degrees_of_freedom: Annotated[int, Field(ge=0)]
    camera: _Camera | None
    history: Annotated[list[_Step], Field(min_length=1)]


def read_alignment(path: Path) -> Alignment:
    """Read a result that `measure` or `follow` kept.

    Parameters
    ----------
    path : pathlib.Path
        A JSON file written with ``--out``.

    Returns
    -------
    Alignment

    Raises
    ------
    InputError
        Not such a file, or a damaged one; the text names the file and the place.
    """
    name = printable(path.name)
    try:
        if path.stat().st_size > _LARGEST:
            raise InputError(f"{name}: is too large for a result kept with --out")
        content = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{name}: cannot be read ({printable(error.strerror or error)})") from None
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise InputError(f"{name}: is no JSON; give a result kept with --out") from None
    schema = content.get("schema") if isinstance(content, dict) else None
    if schema not in _SCHEMAS:
        shown = f"its schema is {printable(schema, 40)}" if schema else "it names no schema"
        raise InputError(f"{name}: is no result of measure --out or follow --out ({shown})")
    try:
        return _alignment(_Result.model_validate(content), path.parent)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        what = fault["msg"].removeprefix("Value error, ")
        raise InputError(f"{name}: is damaged at {printable(where, 80)}: {printable(what, 120)}") from None
    except InputError as error:
        raise InputError(f"{name}: {error}") from None


def _alignment(result: _Result, folder: Path) -> Alignment:
    site, air, axis, camera = result.site, result.atmosphere, result.axis, result.camera
    kind: PoleKind = result.aim
    return Alignment(
        sky=Sky(
            Site(site.latitude_deg, site.longitude_deg, site.height_m, printable(site.source)),
            Atmosphere(air.pressure_hpa, air.temperature_c, air.relative_humidity, air.wavelength_um),
        ),
        pole_kind=kind,
        axis=direction_from_azalt(axis.azimuth_deg * DEGREE, axis.altitude_deg * DEGREE),
        covariance=np.array(axis.covariance_arcmin2) * ARCMIN**2,
        degrees_of_freedom=result.degrees_of_freedom,
        camera=_camera(camera) if camera else None,
        sensor=Sensor(camera.width_px, camera.height_px, camera.pixel_scale_arcsec, camera.mirrored)
        if camera
        else None,
        last_frame=printable(camera.last_frame) if camera and camera.last_frame else None,
        last_file=_file(camera.last_frame_file, folder) if camera and camera.last_frame_file else None,
        is_continuous=camera.is_continuous if camera else True,
        steps=tuple(_step(step) for step in result.history),
        target_aim=Pole(kind, result.pole.azimuth_deg, result.pole.altitude_deg)
        if kind == "target"
        else None,
    )


def _file(file: _File, folder: Path) -> FrameFile:
    """Keep the places that a file system can have; a share on another machine is not looked for."""
    places = [folder / file.relative] if file.relative and _is_local(file.relative) else []
    places += [Path(file.absolute)] if _is_local(file.absolute) else []
    return FrameFile(tuple(places), file.clock_ahead_s)


def _is_local(place: str) -> bool:
    return "\0" not in place and not place.replace("\\", "/").startswith("//")


def _camera(camera: _Camera) -> CameraAxis:
    return CameraAxis(
        template=np.array(camera.points),
        weights=SENSOR_WEIGHTS,
        axis=np.array(camera.axis),
        covariance=np.array(camera.axis_covariance_arcsec2) * ARCSEC**2,
        attitude=np.array(camera.attitude),
        noise_px=camera.noise_px,
        roll_ratio=camera.roll_noise_ratio,
        degrees_of_freedom=camera.degrees_of_freedom,
    )


def _step(step: _Step) -> Step:
    return Step(
        utc=utc_from_iso(step.epoch_utc),
        azimuth_deg=step.azimuth_deg,
        altitude_deg=step.altitude_deg,
        covariance=np.array(step.covariance_arcmin2) * ARCMIN**2,
        turned=None if step.turned is None else (step.turned[0], step.turned[1]),
        is_fresh=step.is_fresh,
        is_loose=step.is_loose,
    )
