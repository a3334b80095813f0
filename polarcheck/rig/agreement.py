"""Whether a rig file belongs to the frames: its site, its image scale and its sensor against theirs."""

from __future__ import annotations

import math

from polarcheck.constants import DEGREE
from polarcheck.errors import Notice
from polarcheck.printable import printable
from polarcheck.rig.file import Rig
from polarcheck.site import Site

__all__ = ["rig_notices"]

_NEAR_DEG = 0.25  # sites as near as that are one, for one header rounds and another does not
_SCALE_SHARE = 0.06  # makers round focal lengths by up to 5 %; common practice, no source


def rig_notices(
    rig: Rig | None, site: Site, scale_arcsec: float | None = None, size_px: tuple[int, int] | None = None
) -> tuple[Notice, ...]:
    """Warn where a rig file contradicts the frames.

    Parameters
    ----------
    rig : Rig or None
        The rig file in use.
    site : Site
        Where the frames were taken.
    scale_arcsec : float, optional
        The frames' image scale. [arcsec/px]
    size_px : tuple of int, optional
        The frames' width and height. [px]

    Returns
    -------
    tuple of Notice
        Of the codes ``rig-site``, ``rig-scale`` and ``rig-sensor``.
    """
    if rig is None:
        return ()
    name = f"The rig file {printable(rig.path.name)}"
    said = [_of_site(rig, site, name), _of_scale(rig, scale_arcsec, name), _of_size(rig, size_px, name)]
    return tuple(notice for notice in said if notice)


def _of_site(rig: Rig, site: Site, name: str) -> Notice | None:
    own = rig.site
    if own is None or _apart_deg(own, site) <= _NEAR_DEG:
        return None
    text = (
        f"{name} has its site at latitude {own.latitude_deg:.2f}, longitude {own.longitude_deg:.2f}, but the frames "
        f"have {site.latitude_deg:.2f}, {site.longitude_deg:.2f} ({site.source}), which holds."
    )
    if own.is_north != site.is_north:
        text += " A single azimuth screw moves the axis the other way in the other hemisphere: check clockwise_moves."
    return Notice("rig-site", text)


def _of_scale(rig: Rig, scale_arcsec: float | None, name: str) -> Notice | None:
    own = rig.pixel_scale_arcsec
    if own is None or scale_arcsec is None or abs(own / scale_arcsec - 1) <= _SCALE_SHARE:
        return None
    return Notice(
        "rig-scale",
        f"{name} gives {own:.3g} arcsec/px, but the frames have {scale_arcsec:.3g}: another telescope or camera, "
        "binning, or a value in another unit. What is told of optics from it would be wrong.",
    )


def _of_size(rig: Rig, size_px: tuple[int, int] | None, name: str) -> Notice | None:
    own = (rig.camera.width_px, rig.camera.height_px)
    if size_px is None or None in own or own == size_px:
        return None
    return Notice(
        "rig-sensor",
        f"{name} has a sensor of {own[0]} x {own[1]} px, but the frames have {size_px[0]} x {size_px[1]}: another "
        "camera, binned or cut out.",
    )


def _apart_deg(one: Site, other: Site) -> float:
    """Angle between two places on a sphere. [deg]"""
    first, second = one.latitude_deg * DEGREE, other.latitude_deg * DEGREE
    east = (one.longitude_deg - other.longitude_deg) * DEGREE
    cosine = math.sin(first) * math.sin(second) + math.cos(first) * math.cos(second) * math.cos(east)
    return math.acos(min(max(cosine, -1.0), 1.0)) / DEGREE
