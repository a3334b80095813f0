"""The rig file's knobs as the correction needs them: signed gains."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.rig import Knob, Rig, arcmin_per_turn, smallest_turn

__all__ = ["KnobSpec", "knob_specs", "stated_shift"]


@dataclass(frozen=True, slots=True)
class KnobSpec:
    """What is known of a knob.

    Attributes
    ----------
    gain : float or None
        Move of the axis per clockwise turn, signed (azimuth growing, altitude rising). [arcmin]
    size : float or None
        The same without its sign, where only that is known. [arcmin]
    backlash_turns : float or None
        Turns that do nothing after the direction is reversed; None where nobody states it.
    smallest_turn : float
        What a hand can do.
    gain_sigma : float or None
        One-sigma doubt about `gain`, where a night told it. [arcmin]
    is_opposed : bool
        Whether two bolts push from both sides: one comes out, the other goes in by as much. Its turns are then
        said of the bolt on the east side (azimuth) or on the pole's side (altitude).
    travel_arcmin : float or None
        How far the knob can move the axis, from end to end. [arcmin]
    """

    gain: float | None = None
    size: float | None = None
    backlash_turns: float | None = None
    smallest_turn: float = 0.01
    gain_sigma: float | None = None
    is_opposed: bool = False
    travel_arcmin: float | None = None


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
