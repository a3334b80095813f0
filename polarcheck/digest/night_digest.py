"""A folder's night, gathered once: everything that the page shows is computed here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np

from polarcheck.alignment import Alignment
from polarcheck.axis import confidence_region, ellipse
from polarcheck.constants import ARCMIN
from polarcheck.digest.frame_rows import FrameRow, frame_rows, with_pictures
from polarcheck.digest.lights import LightFrames, light_frames
from polarcheck.digest.targets import TargetDigest, asked_target, seen_target
from polarcheck.errors import InputError, Notice
from polarcheck.frames import FrameSet, read_frames
from polarcheck.knobs import Correction, correct
from polarcheck.measurement import Conditions, Reading, measure_frames
from polarcheck.night import (
    NIGHT_FILE,
    CheckedEvent,
    MovedEvent,
    NightAccount,
    NightBook,
    NightEvent,
    NightLog,
    NightStep,
    RefusedEvent,
    TurnedEvent,
    account_of,
    last_night,
)
from polarcheck.outlook import Optics, optics_from
from polarcheck.planning import Checklist, checklist_for, rough_setup
from polarcheck.printable import printable
from polarcheck.rig import Rig
from polarcheck.sky import Sky, Target, sun_altitude_deg
from polarcheck.times import add_seconds, seconds_between
from polarcheck.vectors import Array

__all__ = ["DigestWish", "Finding", "NightDigest", "digest_night"]

Date = tuple[float, float]
Standing = Literal["as found", "turned since", "moved since"]
Progress = Callable[[str], Callable[[int, int], None] | None]

_MOST_TARGETS = 6  # that frames show; those asked for are always told
_MOST_WARNINGS = 100
_PARTS = (0.6827, 0.95)
_DAYLIGHT_DEG, _HOUR_S = 4.0, 3600.0


@dataclass(frozen=True, slots=True)
class DigestWish:
    """What is wanted beside the night itself.

    Attributes
    ----------
    targets : tuple of Target
        To tell drift and exposure of, beside those that frames show.
    utc : tuple of float or None
        When these are imaged; the last finding's moment unless told.
    reading : Reading
        How frames are read; the clock of a night's file counts unless one is said.
    conditions : Conditions
        As for `measure`, where there is no night's file.
    """

    targets: tuple[Target, ...] = ()
    utc: Date | None = None
    reading: Reading = field(default_factory=Reading)
    conditions: Conditions = field(default_factory=Conditions)


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding of the axis, and what followed on it.

    Attributes
    ----------
    step : NightStep
        With its result, the advice on it, and the turns made.
    alignment : Alignment
        The axis as found.
    outline_68_arcmin, outline_95_arcmin : ndarray, shape (73, 2), or None
        Regions that hold the axis with that probability by its noise, from the axis: azimuth on the sky, altitude; None
        without a covariance. [arcmin]
    sag_outline_arcmin : ndarray, shape (73, 2), or None
        How far sag and creep of the allowed size may have led it, likewise. [arcmin]
    """

    step: NightStep
    alignment: Alignment
    outline_68_arcmin: Array | None
    outline_95_arcmin: Array | None
    sag_outline_arcmin: Array | None


@dataclass(frozen=True, slots=True)
class NightDigest:
    """One night.

    Attributes
    ----------
    folder : str
        Its name, printable.
    source : {"night file", "frames"}
        Whether the night was remembered, or its frames were measured for this.
    findings : tuple of Finding
        In order; one at least.
    standing : {"as found", "turned since", "moved since"}
        Whether the last finding still says how the mount stands.
    turned_since : tuple of float or None
        Turns of the azimuth and the altitude knob since the last finding, clockwise positive. [turn]
    correction : Correction or None
        What is left to do; None where the mount no longer stands as found.
    rig : Rig or None
        The rig file in use.
    optics : Optics or None
        Of the rig file, else of the frames themselves; None where neither tells.
    optics_source : {"rig file", "frames"} or None
        Which of them.
    targets : tuple of TargetDigest
    frames : tuple of FrameRow
    looks : tuple of CheckedEvent
        Looks at frames of the target.
    refusals : tuple of RefusedEvent
    checklist : Checklist
        The set-up, as of the last daylight before the night.
    notices : tuple of Notice
        Cautions that belong to the numbers.
    """

    folder: str
    source: Literal["night file", "frames"]
    findings: tuple[Finding, ...]
    standing: Standing
    turned_since: tuple[float, float] | None
    correction: Correction | None
    rig: Rig | None
    optics: Optics | None
    optics_source: Literal["rig file", "frames"] | None
    targets: tuple[TargetDigest, ...]
    frames: tuple[FrameRow, ...]
    looks: tuple[CheckedEvent, ...]
    refusals: tuple[RefusedEvent, ...]
    checklist: Checklist
    notices: tuple[Notice, ...]

    @property
    def last(self) -> Finding:
        """The last finding."""
        return self.findings[-1]


@dataclass(frozen=True, slots=True)
class _Told:
    """Events of one night, what they amount to, and where they came from."""

    events: tuple[NightEvent, ...]
    account: NightAccount
    source: Literal["night file", "frames"]
    notices: tuple[Notice, ...]


def digest_night(
    folder: Path,
    rig: Rig | None = None,
    wish: DigestWish = DigestWish(),
    progress: Progress = lambda _: None,
) -> NightDigest:
    """Gather a folder's night: from its night's file where there is one, else from its solved frames.

    Parameters
    ----------
    folder : pathlib.Path
        Of the frames.
    rig : Rig, optional
        Knobs, optics and limits.
    wish : DigestWish
        What is wanted beside.
    progress : callable
        Gives for what is done ("reading frame", "looking at frame", "target") what is called with numbers done and of all.

    Returns
    -------
    NightDigest

    Raises
    ------
    InputError
        No such folder, or nothing was found in it; what keeps frames from being measured, as `measure` says.
    """
    if not folder.is_dir():
        raise InputError(f"there is no folder '{printable(folder)}'; name the folder of the night's frames")
    told, frame_set = _told(folder, rig, wish, progress("reading frame"))
    account = told.account
    findings = tuple(_finding(step, step.result.alignment(folder)) for step in account.steps)
    alignment = findings[-1].alignment
    optics, source = _optics(rig, alignment)
    lights = light_frames(frame_set.frames)[-_MOST_TARGETS:]
    rows = with_pictures(frame_rows(account.steps, frame_set, lights), progress("looking at frame"))
    standing = _standing(told)
    return NightDigest(
        folder=printable(folder.resolve().name or str(folder)),
        source=told.source,
        findings=findings,
        standing=standing,
        turned_since=account.turned if standing == "turned since" else None,
        correction=correct(alignment, rig) if standing == "as found" else None,
        rig=rig,
        optics=optics,
        optics_source=source,
        targets=_targets(findings, lights, optics, wish, progress("target")),
        frames=rows,
        looks=tuple(event for event in told.events if isinstance(event, CheckedEvent)),
        refusals=tuple(event for event in told.events if isinstance(event, RefusedEvent)),
        checklist=_checklist(alignment.sky, findings[0].step.utc, rig),
        notices=(*told.notices, *_notices(account.steps[-1])),
    )


def _standing(told: _Told) -> Standing:
    """How the mount stands; a knob that was turned and turned back does not stand as it did."""
    if told.account.alignment is None:
        return "moved since"
    turned = False
    for event in told.events:
        if event.event in ("measured", "followed"):
            turned = False
        elif isinstance(event, TurnedEvent):
            turned = turned or any(event.turned)
    return "turned since" if turned else "as found"


def _told(
    folder: Path, rig: Rig | None, wish: DigestWish, progress: Callable[[int, int], None] | None
) -> tuple[_Told, FrameSet]:
    """The last night and the frames; a folder without findings has its frames measured now."""
    record = NightLog(folder).read()
    notices = record.notices(NIGHT_FILE)
    events = _of_last_night(record.events, folder)
    if events and any(event.event in ("measured", "followed") for event in events):
        account = _account(events, folder)
        frame_set, lost = _frames(folder, _reading(wish, account), progress)
        return _Told(events, account, "night file", (*notices, *lost)), frame_set
    frame_set, _ = _frames(folder, wish.reading, progress)
    if not frame_set.frames and not frame_set.problems:
        file = "no finding that can be read in its night's file" if record.damaged else "no night's file"
        raise InputError(f"'{printable(folder)}' holds no frame and {file}: there is nothing to tell")
    event = NightBook(folder, rig).measured(measure_frames(frame_set, conditions=wish.conditions), [folder])
    events = (*(e for e in events if not isinstance(e, MovedEvent)), event)
    return _Told(events, account_of([event], folder), "frames", notices), frame_set


def _of_last_night(events: Sequence[NightEvent], folder: Path) -> tuple[NightEvent, ...]:
    try:
        return tuple(last_night(events))
    except InputError as error:
        raise _impossible(folder, error) from None


def _account(events: Sequence[NightEvent], folder: Path) -> NightAccount:
    try:
        return account_of(events, folder)
    except InputError as error:
        raise _impossible(folder, error) from None


def _impossible(folder: Path, error: InputError) -> InputError:
    """What is wrong, in which file, and what to do, where a line was edited into what cannot be."""
    return InputError(
        f"{NIGHT_FILE} in '{printable(folder)}': {error}; mend that line or move the file away, then the frames are measured"
    )


def _reading(wish: DigestWish, account: NightAccount) -> Reading:
    """As said; else with the clock that the last finding's frames were read with."""
    file = account.alignment.last_file if account.alignment else None
    said = wish.reading
    if file is None or said.clock_ahead_s or said.zone:
        return said
    return replace(said, clock_ahead_s=file.clock_ahead_s, zone=file.zone)


def _frames(
    folder: Path, reading: Reading, progress: Callable[[int, int], None] | None
) -> tuple[FrameSet, tuple[Notice, ...]]:
    """What the folder holds; a night's file may have outlived its frames."""
    try:
        found = read_frames(
            folder,
            recursive=reading.recursive,
            clock_ahead_s=reading.clock_ahead_s,
            zone=reading.zone,
            progress=progress,
        )
    except InputError as error:
        return FrameSet((), ()), (Notice("no-frames", f"No frame is shown: {error}."),)
    return found, ()


def _finding(step: NightStep, alignment: Alignment) -> Finding:
    covariance, freedom, allowed = alignment.covariance, alignment.degrees_of_freedom, alignment.systematic
    inner = outer = None
    if covariance is not None:
        inner, outer = (confidence_region(covariance, freedom, part) / ARCMIN for part in _PARTS)
    return Finding(
        step, alignment, inner, outer, None if allowed is None else ellipse(allowed.region) / ARCMIN
    )


def _optics(
    rig: Rig | None, alignment: Alignment
) -> tuple[Optics | None, Literal["rig file", "frames"] | None]:
    """The rig file's optics; else the frames' own scale and size, with what the rig file knows of guiding and drive."""
    sensor = alignment.sensor
    try:
        return optics_from(rig), "rig file"
    except InputError:
        if sensor is None:
            return None, None
    mount, guiding = (rig.mount, rig.guiding.offset_deg) if rig else (None, None)
    return (
        Optics(
            sensor.pixel_scale_arcsec,
            sensor.width_px,
            sensor.height_px,
            guide_offset_deg=(guiding[0], guiding[1]) if guiding else (0.0, 0.0),
            periodic_error_arcsec=(mount.periodic_error_arcsec or 0.0) if mount else 0.0,
            worm_period_s=(mount.worm_period_s or 0.0) if mount else 0.0,
        ),
        "frames",
    )


def _targets(
    findings: Sequence[Finding],
    lights: Sequence[LightFrames],
    optics: Optics | None,
    wish: DigestWish,
    progress: Callable[[int, int], None] | None,
) -> tuple[TargetDigest, ...]:
    """Each target with the axis as it stood then."""
    found = []
    last = findings[-1]
    wanted: list[Target | LightFrames] = [*wish.targets, *lights]
    for done, asked in enumerate(wanted, 1):
        if isinstance(asked, LightFrames):
            number = _number_at(findings, asked.frames[0].utc)
            found.append(seen_target(asked, number, findings[number - 1].alignment, optics))
        else:
            found.append(
                asked_target(asked, wish.utc or last.step.utc, len(findings), last.alignment, optics)
            )
        if progress is not None:
            progress(done, len(wanted))
    return tuple(found)


def _number_at(findings: Sequence[Finding], utc: Date) -> int:
    """The finding that tells how the mount stood at a moment: the last one by then, or the first."""
    before = [i for i, finding in enumerate(findings, 1) if seconds_between(finding.step.utc, utc) >= -1.0]
    return before[-1] if before else 1


def _checklist(sky: Sky, utc: Date, rig: Rig | None) -> Checklist:
    """The set-up as of the last hour of daylight before the night, where there is one within a day."""
    hours = [add_seconds(utc, -_HOUR_S * hour) for hour in range(24)]
    light = np.flatnonzero(sun_altitude_deg(np.array(hours), sky.site) > _DAYLIGHT_DEG)
    return checklist_for(rough_setup(sky, hours[int(light[0])] if len(light) else utc, rig), rig)


def _notices(step: NightStep) -> tuple[Notice, ...]:
    return tuple(
        Notice(printable(entry.code), printable(entry.text, 2000))
        for entry in step.result.warnings[:_MOST_WARNINGS]
    )
