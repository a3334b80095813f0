"""The rig file's knobs as the correction needs them: signed gains."""

from __future__ import annotations

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.mechanics import arcmin_per_turn, smallest_turn
from polarcheck.play import KnobSpec
from polarcheck.response import learn_response
from polarcheck.rig import Knob, Rig

__all__ = ["expected_move", "knob_specs", "stated_shift"]


def knob_specs(rig: Rig | None, north: bool) -> tuple[KnobSpec, KnobSpec]:
    """Return what a rig file says of the azimuth and the altitude knob.

    Parameters
    ----------
    rig : Rig or None
        None says nothing.
    north : bool
        Whether the pole is the north celestial one: there growing azimuth is towards east.

    Returns
    -------
    tuple of KnobSpec
        Azimuth, altitude.
    """
    mount = rig.mount if rig else None
    towards = {"east": 1 if north else -1, "west": -1 if north else 1, "up": 1, "down": -1}
    return (
        _spec(mount.azimuth if mount else None, towards),
        _spec(mount.altitude if mount else None, towards),
    )


def expected_move(
    before: Alignment, rig: Rig | None, turned: tuple[float, float] | None, loose: bool = False
) -> tuple[float, float] | None:
    """Return the axis move that turns should make, as the rig file and the night so far have it.

    Parameters
    ----------
    before : Alignment
        The result before the turns.
    rig : Rig or None
        The rig file.
    turned : tuple of float or None
        Turns of the azimuth and altitude knob, clockwise positive.
    loose : bool
        Whether the clamps are loose afterwards; a stated shift by tightening is in the move then.

    Returns
    -------
    tuple of float or None
        Azimuth (about the vertical) and altitude; None where a knob that was turned is not known. [arcmin]
    """
    if turned is None:
        return None
    specs = knob_specs(rig, before.site.is_north)
    height = float(np.arcsin(np.clip(before.axis[2], -1, 1)))
    response = learn_response(before.steps, *specs, height)
    if any(turns and not known for turns, known in zip(turned, response.known, strict=True)):
        return None
    shift = np.array(stated_shift(rig) or (0.0, 0.0)) * (before.is_loose - loose)
    azimuth, altitude = response.move_by(turned) + shift
    return float(azimuth), float(altitude)


def stated_shift(rig: Rig | None) -> tuple[float, float] | None:
    """Return the shift of the axis by tightening that a rig file states.

    Parameters
    ----------
    rig : Rig or None
        None states nothing.

    Returns
    -------
    tuple of float or None
        Tight minus loose: azimuth about the vertical, altitude. [arcmin]
    """
    shift = rig.mount.clamp_shift_arcmin if rig else None
    return None if shift is None else (shift[0], shift[1])


def _spec(knob: Knob | None, towards: dict[str, int]) -> KnobSpec:
    if knob is None:
        return KnobSpec()
    size = arcmin_per_turn(knob)
    gain = None if size is None or knob.clockwise_moves is None else size * towards[knob.clockwise_moves]
    return KnobSpec(
        gain,
        size,
        knob.backlash_turns,
        smallest_turn(knob),
        gain_sigma=knob.arcmin_per_turn_sigma,
        is_opposed=knob.kind == "opposed bolts",
        travel_arcmin=knob.travel_arcmin,
    )
