"""The first sweep of a night, where several of its places lie there together: measured once.

A sweep is measured at its third place, and again at each further one, which takes as long as reading some ten frames.
Where all agree the last of these measurements stands; where more places lie there already, it is the only one made.
Where they do not all agree, each is looked at by itself, as if it had come alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.frames import Frame
from polarcheck.watch.fields import relation
from polarcheck.watch.places import Place
from polarcheck.watch.sweeps import SWEEP, Sweeps

__all__ = ["FirstSweep", "Stop"]


@dataclass(frozen=True, slots=True)
class Stop:
    """A frame before anything was found.

    Attributes
    ----------
    frame : Frame
    place : Place
        Where the camera stood for it.
    run : list of list of Frame
        The run of places that it ends.
    """

    frame: Frame
    place: Place
    run: list[list[Frame]]


class FirstSweep:
    """Puts frames off while the sweep goes on with the next one.

    Parameters
    ----------
    sweeps : Sweeps
        Measures them.
    """

    def __init__(self, sweeps: Sweeps) -> None:
        self._sweeps = sweeps
        self._put_off: list[Stop] = []

    def stops_alone(self, stop: Stop, following: Frame | None) -> list[Stop]:
        """Take in a frame, and measure the sweep where it ends it; return those to be looked at by themselves.

        Parameters
        ----------
        stop : Stop
        following : Frame or None
            The frame that was taken next, where it lies there.
        """
        stops = [*self._put_off, stop]
        goes_on = following is not None and relation(stop.frame, following) == "turned"
        if goes_on and len(stop.run) >= SWEEP:
            self._put_off = stops
            return []
        self._put_off = []
        further = [one.frame for one in stops[1:]]
        return [] if further and self._sweeps.measure_at_once(stops[0].run, further) else stops
