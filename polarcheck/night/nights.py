"""Several nights of one mount: how the axis came to stand in each, how it moved between them, what they taught."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
from scipy.special import chdtri

from polarcheck.alignment import interval_factor
from polarcheck.errors import InputError, Notice
from polarcheck.knobs import KeptKnob, correct, kept_knobs
from polarcheck.night.account import ANOTHER_NIGHT_S, NightAccount, NightStep, account_of, nights_of
from polarcheck.night.events import FollowedEvent, MeasuredEvent, NightEvent
from polarcheck.night.log import NIGHT_FILE, NightLog
from polarcheck.printable import printable
from polarcheck.times import seconds_between, utc_from_iso

__all__ = ["KnobOverNights", "MeanOverNights", "NightShift", "Nights", "OneNight", "read_nights"]

_ONE_PLACE_DEG = 0.25
_LEAST_NIGHTS = 3  # of which a mean is told: two have no scatter to speak of

KNOBS: tuple[Literal["azimuth"], Literal["altitude"]] = ("azimuth", "altitude")


@dataclass(frozen=True, slots=True)
class OneNight:
    """A night, and what it taught.

    Attributes
    ----------
    folders : tuple of pathlib.Path
        In which its files lie.
    events : tuple of NightEvent
        In order.
    account : NightAccount
        With at least one step.
    learned : tuple of KeptKnob
        Knobs whose gain the turns of this night tell to 10 %, the rig file left aside.
    """

    folders: tuple[Path, ...]
    events: tuple[NightEvent, ...]
    account: NightAccount
    learned: tuple[KeptKnob, ...] = ()

    @property
    def first(self) -> NightStep:
        """Its first finding."""
        return self.account.steps[0]

    @property
    def last(self) -> NightStep:
        """Its last finding."""
        return self.account.steps[-1]

    @property
    def is_assumed(self) -> bool:
        """Whether what it taught rests on turns that were taken as advised, nobody having said so."""
        return any(step.as_told for step in self.account.steps)


@dataclass(frozen=True, slots=True)
class NightShift:
    """From the last finding of one night to the first of the next: the axis, not the error.

    Attributes
    ----------
    azimuth_arcmin, altitude_arcmin : float
        Azimuth about the vertical, growing clockwise from above. [arcmin]
    azimuth_sigma_arcmin, altitude_sigma_arcmin : float
        Of both findings together. [arcmin]
    """

    azimuth_arcmin: float
    altitude_arcmin: float
    azimuth_sigma_arcmin: float
    altitude_sigma_arcmin: float


@dataclass(frozen=True, slots=True)
class MeanOverNights:
    """A mean over nights.

    Attributes
    ----------
    value, sigma, scatter : float
        Mean, its standard error by the scatter, and the scatter from night to night. [arcmin]
    count : int
        Nights, or steps between them.
    """

    value: float
    sigma: float
    scatter: float
    count: int

    @property
    def is_steady(self) -> bool:
        """Whether the mean differs from zero with 95 % confidence (Student's t)."""
        return abs(self.value) > interval_factor(0.95, self.count - 1) * self.sigma

    @classmethod
    def of(cls, values: Sequence[float]) -> MeanOverNights | None:
        """Return the mean of three values or more."""
        if len(values) < _LEAST_NIGHTS:
            return None
        scatter = float(np.std(values, ddof=1))
        return cls(float(np.mean(values)), scatter / math.sqrt(len(values)), scatter, len(values))


@dataclass(frozen=True, slots=True)
class KnobOverNights:
    """What all nights together tell of one knob.

    Attributes
    ----------
    name : {"azimuth", "altitude"}
    arcmin_per_turn, sigma : float
        Weighted mean, signed as clockwise moves the axis in the first of the nights. [arcmin]
    clockwise_moves : {"east", "west", "up", "down"}
    nights : int
        That tell it.
    agree : bool
        Whether they agree within their sigmas (chi squared, 95 %); one night always does.
    """

    name: Literal["azimuth", "altitude"]
    arcmin_per_turn: float
    sigma: float
    clockwise_moves: str
    nights: int
    agree: bool


@dataclass(frozen=True, slots=True)
class Nights:
    """All nights that were read, in order of their frames.

    Attributes
    ----------
    nights : tuple of OneNight
    notices : tuple of Notice
        Lines that could not be read.
    """

    nights: tuple[OneNight, ...]
    notices: tuple[Notice, ...] = ()

    @property
    def events(self) -> tuple[NightEvent, ...]:
        """All events."""
        return tuple(event for night in self.nights for event in night.events)

    @property
    def shifts(self) -> tuple[NightShift | None, ...]:
        """From each night to the next; None where the mount stood at another place."""
        return tuple(_shift(one, other) for one, other in pairwise(self.nights))

    @property
    def mean_shift(self) -> tuple[MeanOverNights | None, MeanOverNights | None]:
        """Azimuth and altitude, from each night to the next; None under three steps."""
        shifts = [shift for shift in self.shifts if shift is not None]
        return (
            MeanOverNights.of([shift.azimuth_arcmin for shift in shifts]),
            MeanOverNights.of([shift.altitude_arcmin for shift in shifts]),
        )

    @property
    def mean_start(self) -> tuple[MeanOverNights | None, MeanOverNights | None]:
        """Azimuth and altitude error as first found in each night; None under three nights."""
        errors = [night.first.error for night in self.nights]
        return (
            MeanOverNights.of([error.azimuth_arcmin for error in errors]),
            MeanOverNights.of([error.altitude_arcmin for error in errors]),
        )

    @property
    def knobs(self) -> tuple[KnobOverNights, ...]:
        """What is worth keeping of the knobs."""
        found = (_knob(name, self.nights) for name in KNOBS)
        return tuple(knob for knob in found if knob is not None)


def read_nights(folders: Sequence[Path]) -> Nights:
    """Read the nights of folders.

    Parameters
    ----------
    folders : sequence of pathlib.Path
        Each with a night's file in it, or such files themselves. Files of one evening are one night.

    Returns
    -------
    Nights

    Raises
    ------
    InputError
        A folder without such a file, or no finding in any of them.
    """
    parts: list[tuple[Path, tuple[NightEvent, ...]]] = []
    notices: list[Notice] = []
    for path in folders:
        folder = path.parent if path.name == NIGHT_FILE else path
        log = NightLog(folder)
        if not log.path.exists():
            raise InputError(f"{printable(folder)}: holds no {NIGHT_FILE}; measure a sweep there first")
        record = log.read()
        notices += record.notices(printable(log.path))
        parts += [(folder, night) for night in nights_of(record.events) if _begin(night) is not None]
    if not parts:
        raise InputError("no finding of the axis stands in any of these nights yet; measure a sweep first")
    parts.sort(key=lambda part: seconds_between((2451544.5, 0.0), _begin(part[1]) or (0.0, 0.0)))
    return Nights(tuple(_night(group) for group in _grouped(parts)), tuple(notices))


def _begin(night: Sequence[NightEvent]) -> tuple[float, float] | None:
    """Mid-exposure of the last frame of its first finding."""
    epochs = (event.result.epoch_utc for event in night if isinstance(event, MeasuredEvent | FollowedEvent))
    first = next(epochs, None)
    return None if first is None else utc_from_iso(first)


def _grouped(
    parts: Sequence[tuple[Path, tuple[NightEvent, ...]]],
) -> list[list[tuple[Path, tuple[NightEvent, ...]]]]:
    """Files of one evening stand together."""
    groups = [[parts[0]]]
    for before, part in pairwise(parts):
        one, other = _begin(before[1]), _begin(part[1])
        assert one is not None
        assert other is not None
        if seconds_between(one, other) > ANOTHER_NIGHT_S:
            groups.append([])
        groups[-1].append(part)
    return groups


def _night(parts: Sequence[tuple[Path, tuple[NightEvent, ...]]]) -> OneNight:
    events = [event for _, part in parts for event in part]
    if len(parts) > 1:
        events.sort(key=lambda event: event.time_utc)
    folders = tuple(dict.fromkeys(folder for folder, _ in parts))
    account = account_of(events, folders[0])
    return OneNight(folders, tuple(events), account, _learned(account))


def _learned(account: NightAccount) -> tuple[KeptKnob, ...]:
    found = account.alignment
    if found is None:
        return ()
    try:
        return kept_knobs(correct(found).response, found.site.is_north)
    except InputError:  # no turn, or none that tells enough
        return ()


def _shift(one: OneNight, other: OneNight) -> NightShift | None:
    before, after = one.last, other.first
    here, there = before.result.site, after.result.site
    if max(abs(here.latitude_deg - there.latitude_deg), abs(here.longitude_deg - there.longitude_deg)) > (
        _ONE_PLACE_DEG
    ):
        return None
    azimuth = (after.axis_deg[0] - before.axis_deg[0] + 180) % 360 - 180
    return NightShift(
        azimuth_arcmin=60 * azimuth,
        altitude_arcmin=60 * (after.axis_deg[1] - before.axis_deg[1]),
        azimuth_sigma_arcmin=math.hypot(before.error.azimuth_sigma_arcmin, after.error.azimuth_sigma_arcmin),
        altitude_sigma_arcmin=math.hypot(
            before.error.altitude_sigma_arcmin, after.error.altitude_sigma_arcmin
        ),
    )


def _knob(name: Literal["azimuth", "altitude"], nights: Sequence[OneNight]) -> KnobOverNights | None:
    told = [knob for night in nights for knob in night.learned if knob.name == name]
    if not told:
        return None
    moves = told[0].clockwise_moves
    gains = np.array([k.arcmin_per_turn * (1 if k.clockwise_moves == moves else -1) for k in told])
    weights = 1 / np.array([k.arcmin_per_turn_sigma for k in told]) ** 2
    mean = float(np.sum(weights * gains) / np.sum(weights))
    misfit = float(np.sum(weights * (gains - mean) ** 2))
    return KnobOverNights(
        name=name,
        arcmin_per_turn=mean,
        sigma=float(np.sum(weights) ** -0.5),
        clockwise_moves=moves,
        nights=len(told),
        agree=len(told) == 1 or misfit <= _largest_misfit(len(told) - 1),
    )


def _largest_misfit(degrees_of_freedom: int) -> float:
    """The 95 % point of chi squared."""
    return float(chdtri(degrees_of_freedom, 0.05))
