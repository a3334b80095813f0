"""The JSON object of ``polarcheck rough``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, Self

from pydantic import Field

from polarcheck.alignment import AirTable, PoleTable, SiteTable
from polarcheck.errors import Notice
from polarcheck.planning.bodies import Body, Shadow
from polarcheck.planning.compass import Compass
from polarcheck.planning.rough import RoughSetup
from polarcheck.planning.usual_errors import COMPASS_DEG, LATITUDE_SCALE_DEG
from polarcheck.schema import Schema, Table, WarningEntry
from polarcheck.sky import Sky
from polarcheck.times import iso_from_utc

__all__ = ["PlaceAnswer", "RoughSchema"]


class PlaceAnswer(Schema):
    """What every answer about a site says first."""

    site: SiteTable
    atmosphere: AirTable
    pole: PoleTable
    time_utc: str = Field(description="ISO 8601, UTC.")
    warnings: list[WarningEntry]

    @staticmethod
    def about(sky: Sky, utc: tuple[float, float], notices: Sequence[Notice]) -> dict[str, Any]:
        """Return these keys."""
        return {
            "site": SiteTable.like(sky.site),
            "atmosphere": AirTable.like(sky.air),
            "pole": PoleTable.like(sky.refracted_pole),
            "time_utc": iso_from_utc(utc),
            "warnings": [WarningEntry.like(notice) for notice in notices],
        }


class SunTable(Table):
    """The Sun at the time."""

    azimuth_deg: float = Field(description="Of the disc's centre [deg].")
    altitude_deg: float = Field(
        description="As seen through the air; airless a degree below the horizon [deg]."
    )
    airless_altitude_deg: float = Field(description="Without refraction [deg].")
    shadow_azimuth_deg: float | None = Field(
        description="Where the shadow of an upright pole points; null while the Sun is down [deg]."
    )


class MoonTable(Table):
    """The Moon at the time."""

    azimuth_deg: float = Field(description="Of the disc's centre [deg].")
    altitude_deg: float = Field(
        description="As seen through the air; airless a degree below the horizon [deg]."
    )
    airless_altitude_deg: float = Field(description="Without refraction [deg].")
    lit: float = Field(description="Illuminated part of the disc, 0 to 1.")

    @classmethod
    def of(cls, body: Body, lit: float) -> Self:
        """Return the Moon."""
        return cls(
            azimuth_deg=body.azimuth_deg,
            altitude_deg=body.altitude_deg,
            airless_altitude_deg=body.airless_altitude_deg,
            lit=lit,
        )


class ShadowRow(Table):
    """The Sun's shadow at one moment."""

    utc: str = Field(description="ISO 8601, UTC.")
    azimuth_deg: float = Field(description="Where the shadow of an upright pole points [deg].")
    sun_altitude_deg: float = Field(description="[deg].")
    length: float = Field(description="Of the shadow, in heights of the pole.")

    @classmethod
    def of(cls, shadow: Shadow) -> Self:
        """Return one row."""
        return cls(
            utc=iso_from_utc(shadow.utc),
            azimuth_deg=shadow.azimuth_deg,
            sun_altitude_deg=shadow.altitude_deg,
            length=shadow.length,
        )


class CompassTable(Table):
    """The magnetic field by the World Magnetic Model."""

    model: str | None = Field(description="Null where no model holds on that date.")
    valid_from_year: float | None = Field(description="First year of the model.")
    valid_until_year: float | None = Field(description="The model holds until the beginning of that year.")
    sigma_deg: float | None = Field(description="The model's own uncertainty of the declination [deg].")
    usual_error_deg: float = Field(description="Of a compass beside a mount; common practice [deg].")
    horizontal_nt: float | None = Field(description="Horizontal intensity [nT].")

    @classmethod
    def of(cls, compass: Compass) -> Self:
        """Return what stands behind a bearing."""
        first, last = compass.valid or (None, None)
        return cls(
            model=compass.model,
            valid_from_year=first,
            valid_until_year=last,
            sigma_deg=compass.sigma_deg,
            usual_error_deg=COMPASS_DEG,
            horizontal_nt=compass.horizontal_nt,
        )


class PoleStarTable(Table):
    """A star near the visible pole."""

    name: str
    magnitude: float = Field(description="Hipparcos magnitude, about visual.")
    hour_angle_h: float = Field(description="West positive, 0 to 24 [h].")
    distance_arcmin: float = Field(description="From the true pole, without air [arcmin].")
    refracted_distance_arcmin: float = Field(description="As seen, from the refracted pole [arcmin].")
    azimuth_deg: float = Field(description="As seen [deg].")
    altitude_deg: float = Field(description="As seen [deg].")
    azimuth_offset_arcmin: float = Field(
        description="Star minus refracted pole, an angle about the vertical [arcmin]."
    )
    altitude_offset_arcmin: float = Field(description="Star minus refracted pole [arcmin].")
    clock_naked_eye: float = Field(description="Place about the pole for the eye: hours, 12 at the top [h].")
    clock_inverted: float = Field(description="The same in a finder that turns the view by 180 deg [h].")
    speed_arcmin_per_h: float = Field(description="Along its circle about the pole [arcmin/h].")


class ExpectationTable(Table):
    """What one way of setting up usually leaves; common practice."""

    way: Literal["compass", "shadow", "sighted", "finder"]
    azimuth_deg: float = Field(description="Usual error, about the vertical [deg].")
    altitude_deg: float = Field(description="Usual error [deg].")
    total_arcmin: float = Field(description="On the sky [arcmin].")
    knobs_suffice: bool | None = Field(
        description="Whether twice that lies within half the knobs' travel; null where the rig file does not say."
    )
    pole_in_frame: bool | None = Field(
        description="Whether a frame along the axis shows the pole; null where the field is not known."
    )


class LevelRow(Table):
    """What a base out of level does."""

    tilt_deg: float = Field(description="Of the base [deg].")
    altitude_arcmin_per_deg: float = Field(
        description="By how much an azimuth move of a degree then changes the altitude, at most [arcmin]."
    )


class SunTimesTable(Table):
    """When the Sun sinks past an altitude, within a day from the time; null where it does not. ISO 8601, UTC."""

    sunset_utc: str | None = Field(description="Its upper edge, -0.83 deg.")
    pole_star_utc: str | None = Field(description="Polaris can be found by eye, -8 deg; common practice.")
    dark_utc: str | None = Field(description="End of astronomical twilight, -18 deg.")


class RoughSchema(PlaceAnswer):
    """The set-up numbers before the first frame."""

    schema_: Literal["polarcheck.rough/1"] = Field(default="polarcheck.rough/1", alias="schema")
    local_sidereal_time_h: float = Field(description="Apparent [h].")
    latitude_dial_deg: float = Field(description="What to set on the latitude scale [deg].")
    latitude_dial_usual_error_deg: float = Field(description="Of such scales; common practice [deg].")
    pole_altitude_deg: float = Field(description="Of the refracted pole [deg].")
    magnetic_declination_deg: float | None = Field(
        description="Magnetic north from true north, east positive; null where no model holds [deg]."
    )
    compass_bearing_deg: float | None = Field(
        description="What a compass reads when it points at the true pole's azimuth [deg]."
    )
    compass: CompassTable
    sun: SunTable
    shadows: list[ShadowRow] = Field(description="Every ten minutes; empty while the Sun is down.")
    sun_times: SunTimesTable
    moon: MoonTable
    pole_star: PoleStarTable
    neighbours: list[PoleStarTable] = Field(description="Other stars to find the pole by.")
    pole_star_at_dusk: PoleStarTable | None = Field(
        description="The pole star at sun_times.pole_star_utc; null where it is out already, or does not come out."
    )
    pole_star_hidden: bool | None = Field(description="By the rig file's horizon; null without one.")
    expected: list[ExpectationTable]
    level: list[LevelRow]

    @classmethod
    def of(cls, setup: RoughSetup) -> Self:
        """Return the object of a set-up."""
        times, compass = setup.sun_times, setup.compass
        return cls(
            **PlaceAnswer.about(setup.sky, setup.utc, setup.notices),
            local_sidereal_time_h=setup.sidereal_time_h,
            latitude_dial_deg=setup.latitude_dial_deg,
            latitude_dial_usual_error_deg=LATITUDE_SCALE_DEG,
            pole_altitude_deg=setup.sky.refracted_pole.altitude_deg,
            magnetic_declination_deg=compass.declination_deg,
            compass_bearing_deg=compass.bearing_deg,
            compass=CompassTable.of(compass),
            sun=SunTable.like(setup.sun),
            shadows=[ShadowRow.of(shadow) for shadow in setup.shadows],
            sun_times=SunTimesTable(
                sunset_utc=times.sunset and iso_from_utc(times.sunset),
                pole_star_utc=times.pole_star and iso_from_utc(times.pole_star),
                dark_utc=times.dark and iso_from_utc(times.dark),
            ),
            moon=MoonTable.of(setup.moon.body, setup.moon.lit),
            pole_star=PoleStarTable.like(setup.pole_star),
            neighbours=[PoleStarTable.like(star) for star in setup.stars[1:]],
            pole_star_at_dusk=None if setup.dusk_star is None else PoleStarTable.like(setup.dusk_star),
            pole_star_hidden=setup.pole_star_hidden,
            expected=[ExpectationTable.like(expected) for expected in setup.expected],
            level=[LevelRow(tilt_deg=tilt, altitude_arcmin_per_deg=moved) for tilt, moved in setup.level],
        )
