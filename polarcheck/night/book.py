"""The pen of the night's file: results and what was done about them, as events, written where the frames lie."""

from __future__ import annotations

import os.path
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from polarcheck import __version__
from polarcheck.errors import InputError, Notice
from polarcheck.followup import CorrectionSchema, Followed, FollowedSchema, SensorMark
from polarcheck.knobs import Correction
from polarcheck.measurement import Measurement, MeasurementSchema
from polarcheck.night.account import NightAccount
from polarcheck.night.events import (
    AdviceEvent,
    CheckedEvent,
    Event,
    FollowedEvent,
    MeasuredEvent,
    MovedEvent,
    RefusedEvent,
    TurnedEvent,
)
from polarcheck.night.log import NIGHT_FILE, NightLog
from polarcheck.printable import printable
from polarcheck.rig import Rig

__all__ = ["NightBook"]

_MOST_INPUTS = 1000  # names of an event; a night's own frames stand in its result, each with its verdict


def _computer_clock() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-4] + "Z"


@dataclass(frozen=True, slots=True)
class NightBook:
    """Makes the events of a night, and writes them into its file.

    Each method named after an event makes one and writes nothing; `write` appends it. So an event can be shown
    where the disk takes no more::

        book = NightBook(folder, rig)
        event = book.measured(result, paths)
        notices = book.write(event)

    Attributes
    ----------
    folder : pathlib.Path
        Of the frames; the night's file lies in it.
    rig : Rig or None
        The rig file in use.
    clock : callable
        Gives the time that events bear, ISO 8601, UTC; this computer's clock.
    """

    folder: Path
    rig: Rig | None = None
    clock: Callable[[], str] = _computer_clock

    @property
    def path(self) -> Path:
        """The night's file."""
        return self.folder / NIGHT_FILE

    def measured(self, result: Measurement, offered: Sequence[Path]) -> MeasuredEvent:
        """Return the event of a sweep that was measured.

        Parameters
        ----------
        result : Measurement
        offered : sequence of pathlib.Path
            Frames or folders.
        """
        return MeasuredEvent(
            time_utc=self.clock(),
            version=__version__,
            inputs=self._names(offered),
            rig=self._rig_name,
            result=MeasurementSchema.of(result, self.folder),
        )

    def followed(self, followed: Followed, offered: Sequence[Path]) -> FollowedEvent:
        """Return the event of frames that were followed; a `turned` goes before it where knobs were turned.

        Parameters
        ----------
        followed : Followed
        offered : sequence of pathlib.Path
            Frames or folders.
        """
        return FollowedEvent(
            time_utc=self.clock(),
            version=__version__,
            inputs=self._names(offered),
            rig=self._rig_name,
            result=FollowedSchema.of(followed, self.folder),
        )

    def advice(self, correction: Correction, mark: SensorMark | None = None) -> AdviceEvent:
        """Return the event of advice on the last finding.

        Parameters
        ----------
        correction : Correction
        mark : SensorMark, optional
            Where a star of the last frame must go.
        """
        return AdviceEvent(
            time_utc=self.clock(),
            version=__version__,
            rig=self._rig_name,
            result=CorrectionSchema.of(correction, mark),
        )

    def turned(self, turned: tuple[float, float], *, as_told: bool = False) -> TurnedEvent:
        """Return the event of knobs that were turned since the last finding.

        Parameters
        ----------
        turned : tuple of float
            Of the azimuth and the altitude knob, net, clockwise positive. [turn]
        as_told : bool
            Whether they are taken as advised, nobody having said otherwise.
        """
        return TurnedEvent(time_utc=self.clock(), version=__version__, turned=list(turned), as_told=as_told)

    def turned_in_all(
        self, account: NightAccount, turned: tuple[float, float], *, as_told: bool = False
    ) -> tuple[TurnedEvent, ...]:
        """Return the event that makes the turns since the last finding these; none where they are.

        Parameters
        ----------
        account : NightAccount
            With the turns that were written already.
        turned : tuple of float
            In all, of the azimuth and the altitude knob, clockwise positive. [turn]
        as_told : bool
            See `turned`.
        """
        before = account.turned or (0.0, 0.0)
        more = (turned[0] - before[0], turned[1] - before[1])
        if account.turned is not None and more == (0.0, 0.0):
            return ()
        return (self.turned(more, as_told=as_told),)

    def refused(self, reason: object, offered: Sequence[Path]) -> RefusedEvent:
        """Return the event of frames that gave no honest result.

        Parameters
        ----------
        reason : object
            Its text; made printable here.
        offered : sequence of pathlib.Path
            Frames or folders.
        """
        return RefusedEvent(
            time_utc=self.clock(),
            version=__version__,
            inputs=self._names(offered),
            reason=printable(reason, 2000),
        )

    def checked(
        self,
        offered: Sequence[Path],
        frames: int,
        drift_arcsec_per_min: tuple[float, float] | None = None,
        elongation: float | None = None,
    ) -> CheckedEvent:
        """Return the event of frames of the target that were looked at.

        Parameters
        ----------
        offered : sequence of pathlib.Path
            Frames or folders.
        frames : int
            How many of them could be used.
        drift_arcsec_per_min : tuple of float, optional
            Seen east and north on the sky. [arcsec/min]
        elongation : float, optional
            Median of the stars.
        """
        return CheckedEvent(
            time_utc=self.clock(),
            version=__version__,
            inputs=self._names(offered),
            frames=frames,
            drift_arcsec_per_min=None if drift_arcsec_per_min is None else list(drift_arcsec_per_min),
            elongation=elongation,
        )

    def moved(self, reason: object) -> MovedEvent:
        """Return the event of a mount that was moved otherwise than by its knobs.

        Parameters
        ----------
        reason : object
            What tells so; made printable here.
        """
        return MovedEvent(time_utc=self.clock(), version=__version__, reason=printable(reason, 2000))

    def write(self, *events: Event) -> tuple[Notice, ...]:
        """Append events to the night's file; where that cannot be, say so and go on.

        Parameters
        ----------
        *events : Event
            In order. A finding that only repeats the last one is not written again.

        Returns
        -------
        tuple of Notice
            Empty, or one of code ``night-not-kept``: the first event that could not be written, and all after it,
            are not in the file.
        """
        log = NightLog(self.folder)
        try:
            for event in events:
                if not log.knows(event):
                    log.append(event)
        except InputError as error:
            return (Notice("night-not-kept", f"The night is not kept: {error}."),)
        return ()

    @property
    def _rig_name(self) -> str | None:
        return None if self.rig is None else printable(_seen_from(self.folder, self.rig.path))

    def _names(self, offered: Sequence[Path]) -> list[str]:
        return [printable(_seen_from(self.folder, path)) for path in offered[:_MOST_INPUTS]]


def _seen_from(folder: Path, path: Path) -> str:
    """A path inside a folder as seen from there, with slashes; any other as it was said."""
    relative = os.path.relpath(path.absolute(), folder.absolute()) if _same_drive(folder, path) else ""
    return Path(relative).as_posix() if relative and not relative.startswith("..") else str(path)


def _same_drive(folder: Path, path: Path) -> bool:
    return folder.absolute().drive.casefold() == path.absolute().drive.casefold()
