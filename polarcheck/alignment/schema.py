"""The JSON pieces that results share, and what a kept result holds for later commands."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import AfterValidator, Field

from polarcheck.alignment.state import Alignment, FrameFile, Step
from polarcheck.alignment.systematic import Systematic
from polarcheck.axis import CameraAxis
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.frames import SENSOR_WEIGHTS, Sensor, nodes_from_nine
from polarcheck.printable import printable
from polarcheck.schema import Schema, Table
from polarcheck.site import Site
from polarcheck.sky import Atmosphere, Pole, Sky
from polarcheck.times import iso_from_utc, utc_from_iso
from polarcheck.vectors import azalt_from_direction, direction_from_azalt

__all__ = [
    "AirTable",
    "AxisTable",
    "CameraTable",
    "ErrorTable",
    "FrameTable",
    "KeptAlignment",
    "PoleTable",
    "SiteTable",
    "StepTable",
]

_NODES_ONCE = 9  # sensor points of results from before there were 16
_ROUNDING = 1e-6  # of a unit vector; numbers are kept to their last digit, but hands may round them


def _direction(vector: list[float]) -> list[float]:
    if not abs(np.linalg.norm(vector) - 1) < _ROUNDING:
        raise ValueError("is no unit vector")
    return vector


def _points(directions: list[list[float]]) -> list[list[float]]:
    if len(directions) == _NODES_ONCE:
        return [[float(part) for part in point] for point in nodes_from_nine(np.array(directions))]
    if len(directions) != len(SENSOR_WEIGHTS):
        raise ValueError("are not those of a sensor")
    return directions


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


Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Altitude = Annotated[float, Field(ge=-90, le=90)]
Pixels = Annotated[int, Field(ge=1, le=1_000_000)]
Vector = Annotated[list[Number], Field(min_length=3, max_length=3)]
Direction = Annotated[Vector, AfterValidator(_direction)]
Turns = Annotated[list[Number], Field(min_length=2, max_length=2)]
Matrix = Annotated[list[Vector], Field(min_length=3, max_length=3)]
Rotation = Annotated[Matrix, AfterValidator(_rotation)]
Covariance3 = Annotated[Matrix, AfterValidator(_covariance)]
Row = Annotated[list[Number], Field(min_length=2, max_length=2)]
Covariance2 = Annotated[list[Row], Field(min_length=2, max_length=2), AfterValidator(_covariance)]
Place = Annotated[str, Field(min_length=1, max_length=4096)]

_TANGENT = "on the axis' tangent plane (azimuth times cos altitude, altitude) [arcmin^2]"


class SiteTable(Table):
    """Where the mount stands."""

    latitude_deg: Number = Field(description="Geodetic, north positive [deg].")
    longitude_deg: Number = Field(description="East positive [deg].")
    height_m: Number = Field(description="Above the ellipsoid [m].")
    source: str = Field(description="Where it came from: an option, the rig file, or header keywords.")

    def site(self) -> Site:
        """Return the site; one that no place has is an `InputError`."""
        return Site(self.latitude_deg, self.longitude_deg, self.height_m, printable(self.source))


class AirTable(Table):
    """The air used for refraction."""

    pressure_hpa: Number = Field(description="At the site, not reduced to sea level; 0: no refraction [hPa].")
    temperature_c: Number = Field(description="[deg C]")
    relative_humidity: Number = Field(description="0 to 1.")
    wavelength_um: Number = Field(description="[um]")

    def atmosphere(self) -> Atmosphere:
        """Return the air; an impossible one is an `InputError`."""
        return Atmosphere(self.pressure_hpa, self.temperature_c, self.relative_humidity, self.wavelength_um)


class PoleTable(Table):
    """What the error is counted from."""

    kind: Literal["refracted", "true", "target"] = Field(
        description="Celestial pole of date as seen through the air or without it, or the best axis for one target."
    )
    azimuth_deg: Number = Field(description="From true north through east [deg].")
    altitude_deg: Altitude = Field(description="[deg]")


class AxisTable(Table):
    """The end of the right-ascension axis that points at the visible pole, as a mechanical direction."""

    azimuth_deg: Number = Field(description="From true north through east [deg].")
    altitude_deg: Altitude = Field(description="[deg]")

    @classmethod
    def of(cls, alignment: Alignment) -> Self:
        """Return where the axis points."""
        azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(alignment.axis))
        return cls(azimuth_deg=azimuth, altitude_deg=altitude)


class ErrorTable(Table):
    """Axis minus pole. Sigmas are half-widths of the 68.27 % intervals, 0 where the error was merely given."""

    azimuth_arcmin: float = Field(
        description="About the vertical, which is what the azimuth knob turns; positive clockwise seen from above "
        "(too far east in the north, too far west in the south) [arcmin]."
    )
    altitude_arcmin: float = Field(description="Positive: too high [arcmin].")
    azimuth_on_sky_arcmin: float = Field(
        description="Azimuth error times the cosine of the axis' altitude [arcmin]."
    )
    total_arcmin: float = Field(description="Great-circle angle between axis and pole [arcmin].")
    azimuth_sigma_arcmin: float = Field(description="Of azimuth_arcmin [arcmin].")
    altitude_sigma_arcmin: float = Field(description="Of altitude_arcmin [arcmin].")
    total_sigma_arcmin: float = Field(
        description="Of total_arcmin, along the line from pole to axis [arcmin]."
    )
    correlation: float = Field(description="Of the two errors, -1 to 1.")
    azimuth_95_arcmin: float = Field(description="Half-width of the 95 % interval [arcmin].")
    altitude_95_arcmin: float = Field(description="Half-width of the 95 % interval [arcmin].")
    largest_drift_arcsec_per_min: float = Field(
        description="Drift of the worst-placed star, unguided, refraction aside [arcsec/min]."
    )


class FrameTable(Table):
    """One file that was offered."""

    file: str = Field(description="Its name, printable.")
    used: bool = Field(description="Whether it bears on the axis.")
    reason: str | None = Field(description="Why not; null for a used frame.")
    mid_exposure_utc: str | None = Field(
        description="Middle of the exposure, ISO 8601, UTC; null if unknown."
    )

    @classmethod
    def of(cls, name: str, reason: str | None, utc: tuple[float, float] | None) -> Self:
        """Return an entry for a frame of which nothing but its use is told."""
        return cls(
            file=name, used=reason is None, reason=reason, mid_exposure_utc=iso_from_utc(utc) if utc else None
        )


class KeptAxis(AxisTable):
    """The axis with its uncertainty."""

    covariance_arcmin2: Covariance2 = Field(description="Covariance " + _TANGENT + ".")


class FileTable(Table):
    """Where the last used frame lies, in a result that is kept in a folder."""

    relative: Place | None = Field(
        description="From the result's folder, with slashes; null on another drive."
    )
    absolute: Place = Field(description="Where it was.")
    clock_ahead_s: Number = Field(description="Taken off the header's time for a clock ahead of UTC [s].")
    zone: str | None = Field(
        default=None, description="Time zone that was stated for local times.", max_length=80
    )

    @classmethod
    def of(cls, file: FrameFile | None, kept_in: Path | None) -> Self | None:
        """Return the place as seen from a folder; None where it cannot be written as text."""
        if file is None or kept_in is None:
            return None
        relative, absolute = file.seen_from(kept_in)
        if not _is_text(absolute) or not _is_text(relative or ""):
            return None
        return cls(relative=relative, absolute=absolute, clock_ahead_s=file.clock_ahead_s, zone=file.zone)

    def frame_file(self, folder: Path) -> FrameFile:
        """Keep the places that a file system can have; a share on another machine is not looked for."""
        places = [folder / self.relative] if self.relative and _is_local(self.relative) else []
        places += [Path(self.absolute)] if _is_local(self.absolute) else []
        return FrameFile(tuple(places), self.clock_ahead_s, self.zone)


def _is_text(place: str) -> bool:
    """Whether a path has bytes that are no characters; such a name has no place in JSON (RFC 8259, 8.2)."""
    return not any("\ud800" <= character <= "\udfff" for character in place)


def _is_local(place: str) -> bool:
    return "\0" not in place and not place.replace("\\", "/").startswith("//")


class CameraTable(Table):
    """The axis fixed in the camera of the last used frame: what a later frame needs."""

    width_px: Pixels = Field(description="Columns of the image [px].")
    height_px: Pixels = Field(description="Rows of the image [px].")
    pixel_scale_arcsec: float = Field(gt=0, description="At the centre [arcsec/px].")
    mirrored: bool = Field(description="Whether the camera sees the sky mirrored.")
    points: Annotated[list[Direction], AfterValidator(_points)] = Field(
        description="Unit vectors of the sensor points in the camera; 16, in older results 9."
    )
    axis: Direction = Field(description="Unit vector of the axis in the camera.")
    axis_covariance_arcsec2: Covariance3 = Field(description="Of that vector [arcsec^2].")
    attitude: Rotation = Field(description="Camera to East-North-Up, in the last used frame.")
    noise_px: float = Field(ge=0, description="One-sigma pointing noise of a frame per coordinate [px].")
    roll_noise_ratio: float = Field(
        gt=0, description="Roll noise over that of stars spread evenly over the sensor."
    )
    degrees_of_freedom: int = Field(ge=0, description="Behind the noise; 0 if it is assumed.")
    last_frame: str | None = Field(description="Name of the last used frame, printable.")
    is_continuous: bool = Field(description="Whether no later frame was left out.")
    last_frame_file: FileTable | None = Field(
        default=None, description="Where it lies; null in a result that is not kept in a folder."
    )

    @classmethod
    def of(cls, alignment: Alignment, kept_in: Path | None) -> Self | None:
        """Return an alignment's camera, if it has one; where its frame lies as seen from `kept_in`."""
        camera, sensor = alignment.camera, alignment.sensor
        if camera is None or sensor is None:
            return None
        return cls(
            width_px=sensor.width_px,
            height_px=sensor.height_px,
            pixel_scale_arcsec=sensor.pixel_scale_arcsec,
            mirrored=bool(sensor.mirrored),
            points=camera.template.tolist(),
            axis=camera.axis.tolist(),
            axis_covariance_arcsec2=(camera.covariance / ARCSEC**2).tolist(),
            attitude=camera.attitude.tolist(),
            noise_px=camera.noise_px,
            roll_noise_ratio=camera.roll_ratio,
            degrees_of_freedom=camera.degrees_of_freedom,
            last_frame=alignment.last_frame,
            is_continuous=alignment.is_continuous,
            last_frame_file=FileTable.of(alignment.last_file, kept_in),
        )

    def sensor(self) -> Sensor:
        """Return what tells this camera from others."""
        return Sensor(self.width_px, self.height_px, self.pixel_scale_arcsec, self.mirrored)

    def camera_axis(self) -> CameraAxis:
        """Return the axis in the camera."""
        return CameraAxis(
            template=np.array(self.points),
            weights=SENSOR_WEIGHTS,
            axis=np.array(self.axis),
            covariance=np.array(self.axis_covariance_arcsec2) * ARCSEC**2,
            attitude=np.array(self.attitude),
            noise_px=self.noise_px,
            roll_ratio=self.roll_noise_ratio,
            degrees_of_freedom=self.degrees_of_freedom,
        )


class SystematicTable(Table):
    """What sag and creep of one size may do to the axis, beside the sigmas, which stay statistical."""

    allowance_arcsec: float = Field(
        ge=0, le=3600, description="Turn of the camera against the mount that is allowed for [arcsec]."
    )
    source: Literal["rig file", "assumed"] = Field(description="Where the allowance comes from.")
    azimuth_arcmin: float = Field(
        ge=0, description="By how much the azimuth error may be off, about the vertical [arcmin]."
    )
    altitude_arcmin: float = Field(ge=0, description="By how much the altitude error may be off [arcmin].")
    region_arcmin2: Covariance2 = Field(
        description="Along a unit vector u the axis may be off by the root of u region u; " + _TANGENT + "."
    )

    @classmethod
    def of(cls, alignment: Alignment) -> Self | None:
        """Return an alignment's allowance, if it has one."""
        allowed = alignment.systematic
        if allowed is None:
            return None
        azimuth, altitude = allowed.half_widths_arcmin(alignment.axis)
        return cls(
            allowance_arcsec=allowed.allowance_arcsec,
            source=allowed.source,
            azimuth_arcmin=azimuth,
            altitude_arcmin=altitude,
            region_arcmin2=(allowed.region / ARCMIN**2).tolist(),
        )

    def systematic(self) -> Systematic:
        """Return it as it was."""
        return Systematic(self.allowance_arcsec, self.source, np.array(self.region_arcmin2) * ARCMIN**2)


class StepTable(Table):
    """Where the axis was found at one moment of the night."""

    epoch_utc: str = Field(description="ISO 8601, UTC.")
    is_fresh: bool = Field(description="Whether it was measured anew, not followed from the step before.")
    is_loose: bool = Field(default=False, description="Whether the base's clamps or bolts were loose.")
    azimuth_deg: Number = Field(description="Of the axis, from true north through east [deg].")
    altitude_deg: Altitude = Field(description="Of the axis [deg].")
    covariance_arcmin2: Covariance2 = Field(description="Covariance " + _TANGENT + ".")
    turned: Turns | None = Field(
        description="Turns of the azimuth and the altitude knob since the step before, net, clockwise positive; "
        "null where not known."
    )

    @classmethod
    def of(cls, step: Step) -> Self:
        """Return one step."""
        return cls(
            epoch_utc=iso_from_utc(step.utc),
            is_fresh=step.is_fresh,
            is_loose=step.is_loose,
            azimuth_deg=step.azimuth_deg,
            altitude_deg=step.altitude_deg,
            covariance_arcmin2=(step.covariance / ARCMIN**2).tolist(),
            turned=None if step.turned is None else list(step.turned),
        )

    def step(self) -> Step:
        """Return it as it was; a time that is none is an `InputError`."""
        return Step(
            utc=utc_from_iso(self.epoch_utc),
            azimuth_deg=self.azimuth_deg,
            altitude_deg=self.altitude_deg,
            covariance=np.array(self.covariance_arcmin2) * ARCMIN**2,
            turned=None if self.turned is None else (self.turned[0], self.turned[1]),
            is_fresh=self.is_fresh,
            is_loose=self.is_loose,
        )


class KeptAlignment(Schema):
    """How the mount stands: what results of `measure` and `follow` have in common, and later commands read."""

    schema_: Literal["polarcheck.measure/1", "polarcheck.follow/1"] = Field(alias="schema")
    site: SiteTable
    atmosphere: AirTable
    epoch_utc: str = Field(description="Mid-exposure of the last used frame, ISO 8601, UTC.")
    pole: PoleTable
    axis: KeptAxis
    error: ErrorTable
    aim: Literal["refracted", "true", "target"] = Field(description="As pole.kind, for later commands.")
    degrees_of_freedom: int = Field(ge=0, description="Behind the covariance; 0 for an assumed noise.")
    camera: CameraTable | None
    systematic: SystematicTable | None = Field(
        default=None, description="Sag and creep; null where the axis was merely given."
    )
    history: list[StepTable] = Field(min_length=1, description="The night so far; the last one is this axis.")

    @staticmethod
    def about(alignment: Alignment, kept_in: Path | None) -> dict[str, Any]:
        """Return the keys that an alignment tells, the axis aside.

        Parameters
        ----------
        alignment : Alignment
            Measured or followed.
        kept_in : pathlib.Path or None
            Where the last frame lies is told only in a result that is kept in a folder.
        """
        return {
            "site": SiteTable.like(alignment.sky.site),
            "atmosphere": AirTable.like(alignment.sky.air),
            "epoch_utc": iso_from_utc(alignment.steps[-1].utc),
            "pole": PoleTable.like(alignment.pole),
            "error": ErrorTable.like(alignment.error),
            "aim": alignment.pole_kind,
            "degrees_of_freedom": alignment.degrees_of_freedom,
            "camera": CameraTable.of(alignment, kept_in),
            "systematic": SystematicTable.of(alignment),
            "history": [StepTable.of(step) for step in alignment.steps],
        }

    def alignment(self, folder: Path) -> Alignment:
        """Return how the mount stands.

        Parameters
        ----------
        folder : pathlib.Path
            Where the result lies, for the frames that it names.

        Returns
        -------
        Alignment

        Raises
        ------
        InputError
            A site, an air or a time that cannot be.
        """
        camera, file = self.camera, self.camera.last_frame_file if self.camera else None
        return Alignment(
            sky=Sky(self.site.site(), self.atmosphere.atmosphere()),
            pole_kind=self.aim,
            axis=direction_from_azalt(self.axis.azimuth_deg * DEGREE, self.axis.altitude_deg * DEGREE),
            covariance=np.array(self.axis.covariance_arcmin2) * ARCMIN**2,
            degrees_of_freedom=self.degrees_of_freedom,
            camera=camera.camera_axis() if camera else None,
            sensor=camera.sensor() if camera else None,
            last_frame=printable(camera.last_frame) if camera and camera.last_frame else None,
            last_file=file.frame_file(folder) if file else None,
            is_continuous=camera.is_continuous if camera else True,
            steps=tuple(step.step() for step in self.history),
            target_aim=Pole("target", self.pole.azimuth_deg, self.pole.altitude_deg)
            if self.aim == "target"
            else None,
            systematic=self.systematic.systematic() if self.systematic else Systematic.of_older_result(),
        )
