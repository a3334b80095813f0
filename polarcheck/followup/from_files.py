"""Frames on disk, taken after the knobs were turned, to the axis now."""

from __future__ import annotations

from collections.abc import Sequence

from polarcheck.alignment import AlignmentLike, as_alignment
from polarcheck.followup.axis_now import Followed, Tracking, follow_frames
from polarcheck.frames import read_frames
from polarcheck.given import PathLike, as_paths
from polarcheck.knobs import expected_move
from polarcheck.rig import Rig, as_rig

__all__ = ["follow"]


def follow(
    before: AlignmentLike,
    paths: PathLike | Sequence[PathLike],
    *,
    rig: Rig | PathLike | None = None,
    tracking: Tracking | None = None,
    turned: tuple[float, float] | None = None,
    loose: bool = False,
) -> Followed:
    """Find where the axis stands after the knobs were turned, from frames taken since.

    Parameters
    ----------
    before : Alignment, Measurement or Followed
        From `measure`, an earlier `follow`, or `read_result`.
    paths : path or sequence of paths
        Frames taken since with declination clamped; folders and patterns too.
    rig : Rig or path of a rig file, optional
        With it, a move far from what `turned` should have made is refused; it may state the camera's time zone.
    tracking : {"on", "off"}, optional
        Whether the mount followed the sky since; only serves to see a slip.
    turned : tuple of float, optional
        Turns of the azimuth and the altitude knob since, net, clockwise positive; later corrections learn from it.
    loose : bool
        Whether the frames were taken with the base's clamps or bolts loose.

    Returns
    -------
    Followed
        Its `alignment` is the new one, the night's steps included; errors are axis minus pole. [arcmin]

    Raises
    ------
    InputError
        The result before holds no camera, or no frame fits it.
    GeometryError
        A frame does not fit what was possible.
    """
    standing = as_alignment(before, "before")
    rig_file = as_rig(rig)
    frame_set = read_frames(as_paths(paths), zone=rig_file.camera.zone if rig_file else None)
    return follow_frames(
        standing,
        frame_set,
        tracking=tracking,
        turned=turned,
        expected_arcmin=expected_move(standing, rig_file, turned, loose),
        loose=loose,
    )
