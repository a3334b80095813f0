"""What reading gives: frames, and the files that are none."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.errors import Notice
from polarcheck.frames.sensor_nodes import SENSOR_WEIGHTS
from polarcheck.frames.telescope_cards import TelescopeCards
from polarcheck.site import Site
from polarcheck.times import iso_from_utc

__all__ = ["Frame", "FrameSet", "Problem", "ProblemKind"]


@dataclass(frozen=True, slots=True, repr=False)
class Frame:
    """One solved frame, reduced to what the axis needs.

    Attributes
    ----------
    path : pathlib.Path
        The image (the header-only solution where there is no image).
    name : str
        Printable; relative to the offered folder where possible, else the file's name.
    folder : str
        Printable parent folder relative to the offered one, "" if none.
    width_px, height_px : int
        Size of the image. [px]
    sky : ndarray, shape (16, 3)
        ICRS unit vectors of `SENSOR_NODES`, through the whole WCS with its distortion. [-]
    utc : tuple of float
        Mid-exposure, two-part quasi-Julian date. [d]
    exposure_s : float or None
        Length of the exposure; None if the header does not say. [s]
    pixel_scale_arcsec : float
        Root of the area of the central pixel. [arcsec]
    mirrored : bool
        Whether the sky, seen with +x to the right and +y up, is mirrored (north up puts east right).
    site : Site or None
        From the header.
    solution_file : pathlib.Path or None
        The header-only solution beside the image that was used.
    notices : tuple of Notice
        What is doubtful about the frame.
    clock_ahead_s : float
        What was taken off the header's time for a clock ahead of UTC. [s]
    telescope : TelescopeCards or None
        Where the header says that the telescope pointed, if it does.
    matrix_deg : tuple of float or None
        The linear terms of the solution as it has them, two rows. [deg/px]
    zone : str or None
        Time zone that was stated for local times.
    trusts_zone : bool
        Whether its time is local, as most cameras write it, and nothing in the file checks the zone that was stated.
    """

    path: Path
    name: str
    folder: str
    width_px: int
    height_px: int
    sky: npt.NDArray[np.float64]
    utc: tuple[float, float]
    exposure_s: float | None
    pixel_scale_arcsec: float
    mirrored: bool
    site: Site | None
    solution_file: Path | None
    notices: tuple[Notice, ...]
    clock_ahead_s: float = 0.0
    telescope: TelescopeCards | None = None
    matrix_deg: tuple[float, float, float, float] | None = None
    zone: str | None = None
    trusts_zone: bool = False

    @property
    def centre(self) -> npt.NDArray[np.float64]:
        """Mean direction of what the sensor sees, ICRS unit vector, shape (3,)."""
        mean = SENSOR_WEIGHTS @ self.sky
        return np.asarray(mean / np.sqrt(mean @ mean))

    def __repr__(self) -> str:
        return f"Frame({self.name}, {iso_from_utc(self.utc)}, {self.width_px} x {self.height_px} px)"


class ProblemKind(Enum):
    """Why a file is not used as a frame."""

    UNUSABLE = "unusable"
    """Something is wrong with it."""
    NOT_SOLVED = "not solved"
    """It holds no plate solution."""
    UNFINISHED = "unfinished"
    """Not all of its bytes are there yet."""
    STANDS_BESIDE = "stands beside"
    """It is the solution of another offered file, or the image of an offered solved copy."""
    COPY = "copy"
    """It is the same frame as another offered file."""


@dataclass(frozen=True, slots=True)
class Problem:
    """A file that was offered and is not used as a frame.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    name : str
        Printable, as for a frame.
    reason : str
        Printable: what is wrong and what to do.
    kind : ProblemKind
        The same for programs.
    utc : tuple of float or None
        Mid-exposure where it is known all the same. [d]
    parameters : tuple of str
        The library's parameters that would mend it.
    """

    path: Path
    name: str
    reason: str
    kind: ProblemKind = ProblemKind.UNUSABLE
    utc: tuple[float, float] | None = None
    parameters: tuple[str, ...] = ()

    @property
    def is_sidecar(self) -> bool:
        """Whether nothing is wrong: another offered file stands for it."""
        return self.kind in (ProblemKind.STANDS_BESIDE, ProblemKind.COPY)


@dataclass(frozen=True, slots=True, repr=False)
class FrameSet:
    """All that was offered.

    Attributes
    ----------
    frames : tuple of Frame
        In order of time, ties by name.
    problems : tuple of Problem
        In order of time, those without time last, ties by name.
    """

    frames: tuple[Frame, ...]
    problems: tuple[Problem, ...]

    def __repr__(self) -> str:
        return f"FrameSet({len(self.frames)} frames, {len(self.problems)} problems)"
