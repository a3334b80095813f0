"""Screws and optics against worked figures and against the TAN projection of astropy.

Worked figures: arithmetic of plane geometry, computed beforehand and apart from the package. The thread M8 has a
coarse pitch of 1.25 mm by ISO 261 (from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from astropy import units as u
from astropy.wcs import WCS
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from polarcheck.rig.file import Rig
from polarcheck.rig.mechanics import arcmin_per_turn, field_of_view_deg, screw_travel_mm, turns_from_arcmin
from polarcheck.rig.summary import summarise_rig
from polarcheck.rig.tables import CameraTable, Guiding, Knob, Mount, OpticsTable

M8_MM = 1.25


def rig(
    pixel_um: float, focal_mm: float, size: tuple[int, int] = (1200, 900), offset: list[float] | None = None
) -> Rig:
    camera = CameraTable(pixel_size_um=pixel_um, width_px=size[0], height_px=size[1])
    return Rig(
        Path("rig.toml"),
        OpticsTable(focal_length_mm=focal_mm),
        camera,
        Guiding(offset_deg=offset),
        Mount(),
        None,
    )


def tangent_plane(scale_deg: float) -> WCS:
    """A camera that looks at (100, 20) deg, pixels counted from the centre."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [100.0, 20.0]
    wcs.wcs.crpix = [1.0, 1.0]
    wcs.wcs.cdelt = [-scale_deg, scale_deg]
    return wcs


@pytest.mark.parametrize(
    ("lever_mm", "arcmin"),
    [(40, 107.395), (50, 85.926), (60, 71.609), (70, 61.382), (75, 57.290), (100, 42.970)],
)
def test_turn_of_an_m8_screw(lever_mm: float, arcmin: float) -> None:
    """atan(1.25 mm / lever). Tolerance 0.0005 arcmin: the figures are rounded to that."""
    assert arcmin_per_turn(Knob(thread_pitch_mm=M8_MM, lever_mm=lever_mm)) == pytest.approx(arcmin, abs=5e-4)


def test_half_a_degree_with_an_m8_screw_at_60_mm() -> None:
    """60 mm x tan 30' = 0.52361 mm = 0.41889 turn; by linear share of 71.609' a turn 0.41894. Rounded so."""
    assert screw_travel_mm(30.0, 60.0) == pytest.approx(0.52361, abs=5e-6)
    assert turns_from_arcmin(Knob(thread_pitch_mm=M8_MM, lever_mm=60.0), 30.0) == pytest.approx(
        0.41889, abs=5e-6
    )
    assert turns_from_arcmin(Knob(arcmin_per_turn=71.609), 30.0) == pytest.approx(0.41894, abs=5e-6)


@pytest.mark.parametrize("degrees", [0.5, -3.0, 12.0])
def test_screw_travel_by_turning_a_lever_until_it_meets_the_screw(degrees: float) -> None:
    """The screw stands on the line x = 60 mm. Turn a rod on the x axis with scipy's Rotation, walk along it until
    it meets that line (root by scipy brentq): the y there is the travel. Tolerance 1e-9 mm: the root's.
    """
    rod = Rotation.from_euler("z", degrees, degrees=True).apply([1.0, 0.0, 0.0])
    along = brentq(lambda distance: distance * rod[0] - 60.0, 1.0, 1000.0, xtol=1e-12)
    assert screw_travel_mm(degrees * 60, 60.0) == pytest.approx(along * rod[1], abs=1e-9)


@pytest.mark.parametrize(("pixel_um", "focal_mm", "arcsec"), [(3.76, 500.0, 1.5511), (5.0, 1000.0, 1.0313)])
def test_image_scale(pixel_um: float, focal_mm: float, arcsec: float) -> None:
    """206.265 x um / mm (206264.8 arcsec per radian). Tolerance 0.00005 arcsec: rounded so."""
    assert rig(pixel_um, focal_mm).pixel_scale_arcsec == pytest.approx(arcsec, abs=5e-5)


@pytest.mark.parametrize(("focal_mm", "pixels"), [(250.0, 1200), (1000.0, 6000), (14.0, 6000)])
def test_field_of_view_agrees_with_the_tangent_plane(focal_mm: float, pixels: int) -> None:
    """astropy.wcs TAN: separation of the middles of two opposite edges. Tolerance 1e-7 deg: 206264.806 is rounded."""
    scale = rig(6.0, focal_mm).pixel_scale_arcsec
    assert scale is not None
    edges = tangent_plane(scale / 3600).pixel_to_world([0, 0], [-pixels / 2, pixels / 2])
    expected = edges[0].separation(edges[1]).to_value(u.deg)
    assert field_of_view_deg(pixels, 6.0, focal_mm) == pytest.approx(expected, abs=1e-7)


def test_diagonal_and_guide_star_agree_with_the_tangent_plane() -> None:
    """astropy.wcs TAN, plane coordinates in degrees. Tolerance 1e-7 deg: as above."""
    summary = summarise_rig(rig(6.0, 50.0, (6000, 4000), [2.0, -1.5]))
    scale = summary.pixel_scale_arcsec
    assert scale is not None
    corners = tangent_plane(scale / 3600).pixel_to_world([-3000, 3000], [-2000, 2000])
    assert summary.diagonal_deg == pytest.approx(corners[0].separation(corners[1]).to_value(u.deg), abs=1e-7)
    star = tangent_plane(1.0).pixel_to_world([0, -2.0], [0, -1.5])
    assert summary.guide_distance_deg == pytest.approx(star[0].separation(star[1]).to_value(u.deg), abs=1e-9)
