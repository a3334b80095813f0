"""The JSON object of ``truth.json``: what a simulated mount really is."""

from __future__ import annotations

from typing import Any, ClassVar, Literal, Self

from pydantic import Field

from polarcheck.alignment import AirTable, AxisTable, PoleTable
from polarcheck.constants import DEGREE
from polarcheck.schema import Schema, SparseTable, Table
from polarcheck.simulate.mount import Camera, error_of_axis
from polarcheck.sky import Pole, Sky
from polarcheck.vectors import Array, azalt_from_direction

__all__ = ["TruthSchema"]

_DIGITS = 9  # the last ones only the arithmetic made


class TruePlace(Table):
    """Where the mount stands."""

    latitude_deg: float = Field(description="Geodetic, north positive [deg].")
    longitude_deg: float = Field(description="East positive [deg].")
    height_m: float = Field(description="Above the ellipsoid [m].")


class TrueError(Table):
    """Axis minus pole."""

    azimuth_arcmin: float = Field(description="About the vertical, positive clockwise from above [arcmin].")
    altitude_arcmin: float = Field(description="Positive: too high [arcmin].")
    azimuth_on_sky_arcmin: float = Field(
        description="Azimuth error times the cosine of the axis' altitude [arcmin]."
    )
    total_arcmin: float = Field(description="Great-circle angle between axis and pole [arcmin].")


class TrueCamera(SparseTable):
    """The camera and its optics."""

    only_if_known: ClassVar[frozenset[str]] = frozenset({"focal_length_mm", "pixel_size_um"})

    width_px: int = Field(description="Columns of the image [px].")
    height_px: int = Field(description="Rows of the image [px].")
    pixel_scale_arcsec: float = Field(description="At the centre [arcsec/px].")
    camera_angle_deg: float = Field(
        description="Position angle of the sensor's +y axis in the mount's own frame, north through east [deg]."
    )
    mirrored: bool = Field(description="Whether an odd number of mirrors turns the image over.")
    focal_length_mm: float | None = Field(default=None, description="[mm]; only of rendered frames.")
    pixel_size_um: float | None = Field(default=None, description="[um]; only of rendered frames.")


class TrueFrame(SparseTable):
    """One frame. Only rendered ones, which a solver solved from their pixels, tell how far the solution is off."""

    only_if_known: ClassVar[frozenset[str]] = frozenset(
        {"stars", "solution_east_arcsec", "solution_north_arcsec", "solution_roll_arcsec"}
    )

    file: str
    axis_angle_deg: float = Field(description="Rotation about the axis, growing westward [deg].")
    stars: int | None = Field(default=None, description="Drawn.")
    solution_east_arcsec: float | None = Field(default=None, description="Solved minus true [arcsec].")
    solution_north_arcsec: float | None = Field(default=None, description="Solved minus true [arcsec].")
    solution_roll_arcsec: float | None = Field(default=None, description="Solved minus true [arcsec].")


class TruthSchema(SparseTable, Schema):
    """What a simulated mount really is."""

    only_if_known: ClassVar[frozenset[str]] = frozenset({"noise_px", "declination_deg", "knobs"})

    schema_: Literal["polarcheck.truth/1"] = Field(default="polarcheck.truth/1", alias="schema")
    site: TruePlace
    axis: AxisTable
    pole: PoleTable
    error: TrueError
    atmosphere: AirTable
    rig: TrueCamera
    seed: int = Field(description="Of the noise.")
    noise_px: float | None = Field(
        default=None,
        description="Of each frame's pointing per coordinate [px]; rendered frames have their solver's.",
    )
    declination_deg: float | None = Field(
        default=None, description="Of the boresight in the mount's own frame [deg]."
    )
    knobs: dict[str, Any] | None = Field(
        default=None,
        description="What the mount's knobs really do, where they were turned: gains, backlash, where each stands in "
        "its play, how the base leans.",
    )
    frames: list[TrueFrame] = Field(description="In order of time.")

    @classmethod
    def of(cls, axis: Array, pole: Pole, sky: Sky, camera: Camera, **more: Any) -> Self:
        """Return the truth of a mount.

        Parameters
        ----------
        axis : ndarray, shape (3,)
            East-North-Up.
        pole : Pole
            What the error refers to.
        sky : Sky
            Of the site, under its air.
        camera : Camera
        **more
            The keys `seed`, `noise_px`, `declination_deg`, `knobs` and `frames`.
        """
        azimuth, altitude = (float(angle) / DEGREE for angle in azalt_from_direction(axis))
        return cls(
            site=TruePlace.like(sky.site),
            axis=AxisTable(azimuth_deg=round(azimuth, _DIGITS), altitude_deg=round(altitude, _DIGITS)),
            pole=PoleTable.like(pole),
            error=TrueError(**{k: round(v, _DIGITS) for k, v in error_of_axis(axis, pole).items()}),
            atmosphere=AirTable.like(sky.air),
            rig=TrueCamera.like(camera),
            **more,
        )
