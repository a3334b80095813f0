"""Where the camera looked in frames that are not solved: tied to solved ones by their stars.

Ties go outwards from the solved frames, both ways in time. The stars' places on the sky come from the solved frame, the
way from pixels to directions from its solution with its distortion, and all is compared as seen at the site, where a
camera is rigid.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC
from polarcheck.errors import FrameError, Notice
from polarcheck.frames import Frame, Problem, Solution, read_image, read_solution
from polarcheck.sky import Sky
from polarcheck.stars import find_stars, nearest_pairs, pair_stars
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, best_rotations

__all__ = ["Seat", "few_names", "tie_frames"]

_MOST_NAMED = 4
_MOST = 200  # stars of a frame, the brightest
_NEAR_PX = 2.0  # how near a star must come to its partner at last
_OUTLIER = 4.0  # times the typical distance of partners
_SOLVED_TRIED, _TIED_TRIED = 3, 2  # nearest in time
_SAME_PX = 0.75  # how near a mark of the sensor itself shows again
_ALWAYS = 0.8  # of the frames, in which it shows
_LOOKED_AT = 15  # frames, to find them
_MOSTLY = 0.5  # of a clear frame's stars stand still where the field does
_MOVED_PX = 3.0  # by which stars move where the field does not stand still


@dataclass(frozen=True, slots=True)
class Seat:
    """How the camera stood in one frame.

    Attributes
    ----------
    name : str
    utc : tuple of float
        Mid-exposure, two-part Julian date.
    camera : ndarray, shape (3, 3)
        Carries directions fixed in the camera from where they were seen in the first solved frame to where they are
        seen now, East-North-Up.
    """

    name: str
    utc: tuple[float, float]
    camera: Array


@dataclass
class _Ties:
    """What is known while frames are tied."""

    sky: Sky
    frames: list[Frame]
    lens: Solution
    places: dict[Path, Array] = field(default_factory=dict)
    tied: dict[Path, Seat] = field(default_factory=dict)

    def camera_directions(self, pixels: Array) -> Array:
        """Observed directions of pixels in the first solved frame, shape (n, 3)."""
        return self._observed(self.lens.icrs_from_pixels(pixels), self.frames[0].utc)

    def _observed(self, icrs: Array, utc: tuple[float, float]) -> Array:
        return np.asarray(self.sky.observed(icrs[None], np.array([utc]))[0])

    def solved_stars(self, frame: Frame) -> Array:
        """ICRS directions of a solved frame's stars, shape (n, 3)."""
        solution = read_solution(frame.solution_file or frame.path)
        return solution.icrs_from_pixels(self.places[frame.path])

    def tied_stars(self, path: Path) -> Array:
        """The same of a frame that was tied before."""
        seat = self.tied[path]
        seen = self.camera_directions(self.places[path]) @ seat.camera.T
        return np.asarray(self.sky.icrs(seen[None], np.array([seat.utc]))[0])

    def has_moved(self, seat: Seat) -> bool:
        """Whether the star in the middle of the first solved frame has moved in the camera."""
        middle = np.array([[(self.lens.width_px - 1) / 2, (self.lens.height_px - 1) / 2]])
        icrs = self.lens.icrs_from_pixels(middle)
        apart = self._observed(icrs, seat.utc) @ seat.camera - self.camera_directions(middle)
        return bool(np.linalg.norm(apart) > _MOVED_PX * self.frames[0].pixel_scale_arcsec * ARCSEC)

    def seat(self, problem: Problem, utc: tuple[float, float], there: Path, stars: Array) -> Seat | None:
        """Tie a frame to another one, whose stars are known."""
        size = (self.frames[0].width_px, self.frames[0].height_px)
        mine = self.places[problem.path]
        pairs = pair_stars(self.places[there], mine, size)
        if pairs is None:
            return None
        sky, fixed = self._observed(stars, utc), self.camera_directions(mine)
        near = _NEAR_PX * self.frames[0].pixel_scale_arcsec * ARCSEC
        camera = _rotation(fixed[pairs.second], sky[pairs.first])
        for _ in range(2):  # the plane's turn and shift may have missed the stars of a wide field's edge
            i, j = nearest_pairs(sky, fixed @ camera.T, near)
            if len(i) < len(pairs.first) / 2:
                return None
            camera = _rotation(fixed[j], sky[i])
        return Seat(problem.name, utc, camera)


def tie_frames(
    sky: Sky,
    frames: list[Frame],
    wanted: list[Problem],
    progress: Callable[[int, int], None] | None = None,
) -> tuple[list[Seat], tuple[Notice, ...]]:
    """Tie frames that are not solved to solved ones by their stars.

    Parameters
    ----------
    sky : Sky
    frames : list of Frame
        Solved ones of the same camera and field, one at least.
    wanted : list of Problem
        Frames that are not solved, with their times.
    progress : callable, optional
        Called with the number of frames looked at and of all frames.

    Returns
    -------
    list of Seat
        Those that could be tied.
    tuple of Notice
        What is said of the others.
    """
    if not wanted:
        return [], ()
    near = _nearest_solved(frames, wanted)
    places, reasons = _read([*(f.path for f in near), *(p.path for p in wanted)], progress)
    names = {f.path: f.name for f in near} | {p.path: p.name for p in wanted}
    notices = [Notice("frame-unused", f"{names[path]}: {reason}.") for path, reason in reasons.items()]
    usable = [f for f in near if f.path in places]
    seen = [p for p in wanted if p.path in places]
    if not usable or not seen:
        return [], tuple(notices)
    lens = read_solution(frames[0].solution_file or frames[0].path)
    found = _best_ties(_Ties(sky, [frames[0], *usable], lens), places, seen)
    left = [problem.name for problem in seen if problem.path not in found]
    if left:
        said = f"{few_names(left)}: no more stars agree with those of a solved frame than by chance."
        notices.append(Notice("frame-unused", said))
    return list(found.values()), tuple(notices)


def few_names(names: list[str]) -> str:
    """Return the first names, and how many more there are."""
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more


def _nearest_solved(frames: list[Frame], wanted: list[Problem]) -> list[Frame]:
    """Solved frames that are among the nearest in time of any frame to be tied."""
    chosen: set[Path] = set()
    for problem in wanted:
        chosen.update(f.path for f in sorted(frames, key=lambda f: _apart(f.utc, problem))[:_SOLVED_TRIED])
    return [frame for frame in frames if frame.path in chosen]


def _apart(utc: tuple[float, float], problem: Problem) -> float:
    return abs(seconds_between(utc, problem.utc or utc))


def _read(
    paths: list[Path], progress: Callable[[int, int], None] | None
) -> tuple[dict[Path, Array], dict[Path, str]]:
    """Places of the brightest stars of frames, and why others have none."""
    places, reasons = {}, {}
    for done, path in enumerate(paths, 1):
        try:
            image = read_image(path)
            stars = find_stars(image.pixels, mosaic=image.mosaic, saturation=image.saturation)
            places[path] = np.stack([stars.x_px, stars.y_px], axis=-1)[:_MOST]
        except FrameError as error:
            reasons[path] = error.reason
        if progress is not None:
            progress(done, len(paths))
    return places, reasons


def _best_ties(ties: _Ties, places: dict[Path, Array], wanted: list[Problem]) -> dict[Path, Seat]:
    """Tie without what stands still on the sensor; with it, if nothing else is seen to move.

    Hot pixels, and what lies on the sensor, show at the same place in every frame. So do stars, if the field stands still;
    but then none move. Under clouds hot pixels are all that shows, and would tie as a field that stands still.
    """
    still = _still_marks(list(places.values()))
    cleaned = {path: some[~marks] for (path, some), marks in zip(places.items(), still, strict=True)}
    moving = _tied_outwards(ties, cleaned, wanted)
    if not _may_stand_still(still) or any(ties.has_moved(seat) for seat in moving.values()):
        return moving
    standing = _tied_outwards(ties, places, wanted)
    return moving if len(moving) >= len(standing) else standing


def _may_stand_still(still: list[npt.NDArray[np.bool_]]) -> bool:
    """Whether most of what shows in the frames with the most stars stands still."""
    fullest = sorted(still, key=len)[-max(1, len(still) // 4) :]
    return float(np.median([marks.mean() if len(marks) else 0.0 for marks in fullest])) >= _MOSTLY


def _still_marks(places: list[Array]) -> list[npt.NDArray[np.bool_]]:
    """Which stars of each frame show at the same pixel in nearly all other frames."""
    from scipy.spatial import cKDTree

    chosen = np.unique(np.linspace(0, len(places) - 1, min(_LOOKED_AT, len(places))).round().astype(int))
    trees = {int(k): cKDTree(places[k]) for k in chosen if len(places[k])}
    marks = []
    for k, some in enumerate(places):
        others = [tree for i, tree in trees.items() if i != k]
        if not others or not len(some):
            marks.append(np.zeros(len(some), dtype=bool))
            continue
        shown = np.mean([tree.query(some)[0] < _SAME_PX for tree in others], axis=0)
        marks.append(np.asarray(shown > _ALWAYS))
    return marks


def _tied_outwards(ties: _Ties, places: dict[Path, Array], wanted: list[Problem]) -> dict[Path, Seat]:
    """Tie the frames nearest in time to a solved one first, each to solved ones or, failing that, to tied ones."""
    ties.places, ties.tied = places, {}
    solved = ties.frames[1:]
    for problem in sorted(wanted, key=lambda p: min(_apart(frame.utc, p) for frame in solved)):
        if problem.utc is not None and (seat := _seat(ties, problem, problem.utc)) is not None:
            ties.tied[problem.path] = seat
    return ties.tied


def _seat(ties: _Ties, problem: Problem, utc: tuple[float, float]) -> Seat | None:
    for frame in sorted(ties.frames[1:], key=lambda f: _apart(f.utc, problem))[:_SOLVED_TRIED]:
        if (found := ties.seat(problem, utc, frame.path, ties.solved_stars(frame))) is not None:
            return found
    for path in sorted(ties.tied, key=lambda path: _apart(ties.tied[path].utc, problem))[:_TIED_TRIED]:
        if (found := ties.seat(problem, utc, path, ties.tied_stars(path))) is not None:
            return found
    return None


def _rotation(camera: Array, sky: Array) -> Array:
    """The rotation that carries camera directions onto the sky, without the pairs that lie far off."""
    keep = np.ones(len(sky), dtype=bool)
    for _ in range(2):
        rotation = best_rotations(camera[keep], sky[keep][None], np.full(keep.sum(), 1 / keep.sum()))[0]
        off = np.linalg.norm(camera @ rotation.T - sky, axis=-1)
        keep = off <= max(_OUTLIER * float(np.median(off)), 1e-12)
    return np.asarray(rotation)
