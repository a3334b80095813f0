"""The set-up in the order in which the trade does it, for the site, the mount and the night at hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from polarcheck.planning.rough import RoughSetup
from polarcheck.rig import Rig

__all__ = ["Checklist", "Finder", "MountKind", "Stage", "checklist_for"]

Finder = Literal["inverting", "upright", "none"]
"""How a polar finder shows the sky, or that there is none."""

MountKind = Literal["german", "fork", "tracker"]

Stage = Literal[
    "place",
    "centre knobs",
    "tripod",
    "direction",
    "level",
    "latitude",
    "sun",
    "counterweight",
    "telescope",
    "balance",
    "cables",
    "power",
    "site and clock",
    "pole star",
    "first frames",
    "pack up",
]
"""What a step of the checklist is about."""


@dataclass(frozen=True, slots=True)
class Checklist:
    """The steps of one set-up.

    Attributes
    ----------
    setup : RoughSetup
        The numbers.
    kind : {"german", "fork", "tracker"} or None
        Of the mount, from the rig file; None where it does not say.
    finder : {"inverting", "upright", "none"} or None
        None where nobody said.
    stages : tuple of str
        In their order.
    """

    setup: RoughSetup
    kind: MountKind | None
    finder: Finder | None
    stages: tuple[Stage, ...]


def checklist_for(setup: RoughSetup, rig: Rig | None = None, finder: Finder | None = None) -> Checklist:
    """Return the steps that belong to a site, a mount and a night.

    Parameters
    ----------
    setup : RoughSetup
    rig : Rig, optional
        For the kind of the mount.
    finder : {"inverting", "upright", "none"}, optional
        The polar finder.

    Returns
    -------
    Checklist
    """
    kind = rig.mount.kind if rig else None
    weights: list[Stage] = ["counterweight"] if kind in ("german", None) else []
    sun: list[Stage] = ["sun"] if setup.sun.is_up else []
    stages: list[Stage] = [
        "place",
        "centre knobs",
        "tripod",
        "direction",
        "level",
        "latitude",
        *sun,
        *weights,
        "telescope",
        "balance",
        "cables",
        "power",
        "site and clock",
        "pole star",
        "first frames",
        "pack up",
    ]
    return Checklist(setup, kind, finder, tuple(stages))
