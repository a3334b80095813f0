"""What follows from a rig file, and what it leaves open."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from polarcheck.alignment import FLEXURE_ARCSEC
from polarcheck.constants import DEGREE
from polarcheck.errors import Notice
from polarcheck.presenting import WithDict
from polarcheck.rig.mechanics import (
    arcmin_from_turns,
    arcmin_per_turn,
    field_of_view_deg,
    smallest_turn,
    turns_from_arcmin,
)

if TYPE_CHECKING:
    from polarcheck.rig.file import Rig
    from polarcheck.rig.tables import Knob

__all__ = ["KnobSummary", "OpenPoint", "RigSummary", "summarise_rig"]

_DISAGREEMENT = 0.1  # measured against thread and lever; a ruler and two measurements do better


@dataclass(frozen=True, slots=True)
class KnobSummary:
    """How a knob acts.

    Attributes
    ----------
    name : {"azimuth", "altitude"}
        Which.
    knob : Knob
        What the rig file says.
    arcmin_per_turn : float or None
        First turn; azimuth about the vertical. [arcmin]
    basis : {"measured", "thread and lever"} or None
        Where that comes from.
    by_thread_arcmin : float or None
        The same from thread and lever alone, where both are stated. [arcmin]
    smallest_turn : float
        That a hand can make. [turn]
    smallest_move_arcmin : float or None
        What it does. [arcmin]
    backlash_arcmin : float or None
        What the backlash would move. [arcmin]
    travel_turns : float or None
        From the middle of the knob's travel to both ends, added. [turn]
    """

    name: Literal["azimuth", "altitude"]
    knob: Knob
    arcmin_per_turn: float | None
    basis: Literal["measured", "thread and lever"] | None
    by_thread_arcmin: float | None
    smallest_turn: float
    smallest_move_arcmin: float | None
    backlash_arcmin: float | None
    travel_turns: float | None


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """Something that the rig file does not say.

    Attributes
    ----------
    key : str
        As it would stand in the file, with its table.
    command : str
        The command that would use it.
    without : str
        What that command does without it.
    """

    key: str
    command: str
    without: str


@dataclass(frozen=True, slots=True, repr=False)
class RigSummary(WithDict):
    """What follows from a rig file.

    Attributes
    ----------
    rig : Rig
        The file's content.
    pixel_scale_arcsec : float or None
        At the centre. [arcsec/px]
    width_deg, height_deg, diagonal_deg : float or None
        Field of view. [deg]
    knobs : tuple of KnobSummary
        Azimuth, altitude.
    guide_distance_deg : float or None
        From the field's centre to the guide star. [deg]
    open_points : tuple of OpenPoint
        What is missing, in the file's order.
    notices : tuple of Notice
        Warnings.
    """

    rig: Rig
    pixel_scale_arcsec: float | None
    width_deg: float | None
    height_deg: float | None
    diagonal_deg: float | None
    knobs: tuple[KnobSummary, ...]
    guide_distance_deg: float | None
    open_points: tuple[OpenPoint, ...]
    notices: tuple[Notice, ...]

    def __repr__(self) -> str:
        return f"RigSummary({self.rig.path.name}, open points: {len(self.open_points)})"


def summarise_rig(rig: Rig) -> RigSummary:
    """Work out what follows from a rig file.

    Parameters
    ----------
    rig : Rig
        From `read_rig`.

    Returns
    -------
    RigSummary
        None wherever the file does not say enough.
    """
    knobs = (_knob("azimuth", rig.mount.azimuth), _knob("altitude", rig.mount.altitude))
    width, height = rig.camera.width_px, rig.camera.height_px
    diagonal = math.hypot(width, height) if width is not None and height is not None else None
    return RigSummary(
        rig,
        rig.pixel_scale_arcsec,
        _field(rig, width),
        _field(rig, height),
        _field(rig, diagonal),
        knobs,
        _distance(rig.guiding.offset_deg),
        tuple(_open_points(rig)),
        tuple(notice for knob in knobs for notice in _disagreement(knob)),
    )


def _field(rig: Rig, pixels: float | None) -> float | None:
    size, focal = rig.camera.pixel_size_um, rig.optics.focal_length_mm
    if pixels is None or size is None or focal is None:
        return None
    return field_of_view_deg(pixels, size, focal)


def _distance(offset_deg: list[float] | None) -> float | None:
    """Angle to a point in the plane that touches the sky at the centre."""
    if offset_deg is None:
        return None
    return math.atan(math.hypot(*offset_deg) * DEGREE) / DEGREE


def _knob(name: Literal["azimuth", "altitude"], stated: Knob | None) -> KnobSummary:
    from polarcheck.rig.tables import Knob

    knob = stated or Knob()
    per_turn = arcmin_per_turn(knob)
    basis: Literal["measured", "thread and lever"] | None = None
    if per_turn is not None:
        basis = "thread and lever" if knob.arcmin_per_turn is None else "measured"
    least = smallest_turn(knob)
    half = turns_from_arcmin(knob, knob.travel_arcmin / 2) if knob.travel_arcmin is not None else None
    return KnobSummary(
        name,
        knob,
        per_turn,
        basis,
        arcmin_per_turn(knob.model_copy(update={"arcmin_per_turn": None})),
        least,
        arcmin_from_turns(knob, least),
        None if knob.backlash_turns is None else arcmin_from_turns(knob, knob.backlash_turns),
        None if half is None else 2 * half,
    )


def _disagreement(knob: KnobSummary) -> list[Notice]:
    measured, thread = knob.knob.arcmin_per_turn, knob.by_thread_arcmin
    if measured is None or thread is None or abs(measured / thread - 1) <= _DISAGREEMENT:
        return []
    return [
        Notice(
            "knob-disagrees",
            f"mount.{knob.name}: a turn was measured as {measured:.4g} arcmin, but thread and lever give "
            f"{thread:.4g}. The measured value holds; measure once more, or correct pitch and lever.",
        )
    ]


def _open_points(rig: Rig) -> list[OpenPoint]:
    optics, camera, mount = rig.optics, rig.camera, rig.mount
    no_error = "leaves the periodic error out"
    before: list[tuple[str, object, str]] = [
        ("optics.focal_length_mm", optics.focal_length_mm, "needs it, here or said"),
        ("camera.pixel_size_um", camera.pixel_size_um, "needs it, here or said"),
        ("camera.width_px", camera.width_px, "needs it, here or said"),
        ("camera.height_px", camera.height_px, "needs it, here or said"),
        ("guiding.offset_deg", rig.guiding.offset_deg, "puts the guide star at the centre"),
        ("mount.periodic_error_arcsec", mount.periodic_error_arcsec, no_error),
        ("mount.worm_period_s", mount.worm_period_s, no_error),
    ]
    points = [OpenPoint(key, "exposure", without) for key, value, without in before if value is None]
    points += _open_knob("azimuth", mount.azimuth) + _open_knob("altitude", mount.altitude)
    if mount.flexure_arcsec is None:
        points.append(OpenPoint("mount.flexure_arcsec", "measure", f"allows for {FLEXURE_ARCSEC:g} arcsec"))
    if rig.site is None:
        points.append(OpenPoint("site", "measure", "needs it in the headers, or said"))
    return points


def _open_knob(name: str, knob: Knob | None) -> list[OpenPoint]:
    known = (
        (
            "arcmin_per_turn",
            None if knob is None else arcmin_per_turn(knob),
            "no turns until follow saw some",
        ),
        ("clockwise_moves", None if knob is None else knob.clockwise_moves, "does not say clockwise or not"),
        (
            "backlash_turns",
            None if knob is None else knob.backlash_turns,
            "learns it where the knob reverses",
        ),
    )
    return [
        OpenPoint(f"mount.{name}.{key}", "correct", without) for key, value, without in known if value is None
    ]
