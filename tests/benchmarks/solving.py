"""How many rendered frames are solved, how near the axis comes, how long it takes: ``python -m tests.benchmarks.solving``.

Frames: the sample frames' renderer with stars of Tycho-2 (from the solver's own smallest index, to magnitude 12), on a
sky with a gradient, hot pixels and one satellite trail; fields 0.4 to 30 deg along the longer side, 1 to 24 megapixels,
2 to 6 px of full width at half maximum. The renderer's lens has a barrel distortion of 28 px in the corner of 24
megapixels. The faintest star that shows goes with the field, magnitude 12.5 for 0.4 deg and 9 for 30 deg, 0.7 more or
less. Wrong is a solution that is off by more than 5 px at the centre or by more than 2 % of the field anywhere.

Parts: ``frames [COUNT]``, ``axis``, ``time``; all of them unless named. Needs ``solve-field`` with the Tycho-2 index
files 07 to 19 in /usr/share/astrometry.
"""

from __future__ import annotations

import itertools
import os
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import erfa
import numpy as np
from astropy.io import fits

from polarcheck.frames import read_image, read_solution
from polarcheck.measurement import measure
from polarcheck.simulate import Camera, SiteKeywords, mount_attitudes, mount_axis, site_cards, time_cards
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.solving import Solver, State, solve_frames
from polarcheck.solving.children import Children
from polarcheck.solving.one_frame import Task
from polarcheck.solving.wanted import Hints
from polarcheck.stars import list_stars
from polarcheck.vectors import Array, direction_from_azalt, rotation_matrix, unit

SAMPLES = Path(__file__).parents[2] / "sample_frames"
sys.path.insert(0, str(SAMPLES))
import rendering  # noqa: E402

INDEX = Path("/usr/share/astrometry/index-tycho2-07.littleendian.fits")
SITE = Site(47.3, 11.2, 900.0)
SIZES = ((1200, 900), (1600, 1200), (2400, 1600), (3000, 2000), (4656, 3520), (6000, 4000))
OFTEN = (0.3, 0.2, 0.2, 0.15, 0.1, 0.05)
BINS = (0.4, 0.6, 1.0, 2.0, 5.0, 12.0, 30.0)
START = (2026, 11, 14, 21, 10, 0.0)
KEYWORDS: SiteKeywords = "geodetic"


@dataclass(frozen=True)
class Exposure:
    """How a frame is exposed."""

    fwhm_px: float
    limit_mag: float
    sky_e: float
    gradient: float
    hot: float
    trail: float


def tycho() -> tuple[Array, Array]:
    """Directions, shape (n, 3), of J2000 and magnitudes of the index file's stars."""
    with fits.open(INDEX) as content:
        tables = {hdu.columns.names[0]: hdu.data for hdu in content[1:]}
    raw = np.frombuffer(tables["kdtree_data_stars"].tobytes(), "<u4").reshape(-1, 3)
    span = np.frombuffer(tables["kdtree_range_stars"].tobytes(), "<f8")
    places = unit(span[:3] + raw / span[6])
    magnitudes = np.frombuffer(tables["MAG_VT"].tobytes(), ">f4").astype(float)
    return places, magnitudes


def expose(
    view: rendering.View, stars: tuple[Array, Array], how: Exposure, rng: np.random.Generator
) -> Array:
    """Counts of one frame."""
    camera = view.camera
    size = np.array([camera.width_px, camera.height_px])
    rendering.FWHM_PX = how.fwhm_px
    ramp = (
        np.linspace(-0.5, 0.5, size[1])[:, None] * rng.normal()
        + np.linspace(-0.5, 0.5, size[0]) * rng.normal()
    )
    light = how.sky_e * (1 + how.gradient * np.clip(ramp, -0.9 / max(how.gradient, 0.1), None))
    noise = np.sqrt(how.sky_e + rendering.READ_NOISE_E**2)
    # the peak of the faintest star stands 6 times above the noise
    faintest = 6 * noise * how.fwhm_px**2 * 1.133
    centre = view.icrs(np.array([camera.centre_px]))[0]
    reach = np.hypot(*size) / 2 * camera.pixel_scale_arcsec / 206265 * 1.05
    near = (stars[0] @ centre > np.cos(reach)) & (stars[1] < how.limit_mag + 1)
    places, flux = view.pixels(stars[0][near]), faintest * 10 ** (0.4 * (how.limit_mag - stars[1][near]))
    for place, electrons in zip(places, flux, strict=True):
        rendering.add_star(light, place, electrons)
    add_trail(light, how, noise, rng)
    electrons = rng.poisson(light) + rng.normal(0, rendering.READ_NOISE_E, light.shape)
    spots = rng.integers(0, light.size, int(how.hot * light.size / 1e6))
    electrons.ravel()[spots] += rng.exponential(20_000, len(spots))
    adu = np.rint(electrons / 2.0 + rendering.BIAS_ADU)
    return np.clip(adu, 0, 65535).astype(np.uint16)


def add_trail(light: Array, how: Exposure, noise: float, rng: np.random.Generator) -> None:
    """A satellite's trail from edge to edge."""
    height, width = light.shape
    angle, row = rng.uniform(-0.8, 0.8), rng.uniform(0.2, 0.8) * height
    columns = np.arange(width)
    middle = row + np.tan(angle) * (columns - width / 2)
    sigma = how.fwhm_px / 2.355
    for step in range(-int(4 * sigma) - 1, int(4 * sigma) + 2):
        rows = np.floor(middle).astype(int) + step
        inside = (rows >= 0) & (rows < height)
        value = how.trail * noise * np.exp(-((rows - middle) ** 2) / 2 / (sigma / np.cos(angle)) ** 2)
        light[rows[inside], columns[inside]] += value[inside]


def a_view(field_deg: float, size: tuple[int, int], rng: np.random.Generator) -> rendering.View:
    """A camera that looks anywhere above 25 deg, turned anyhow."""
    scale = field_deg * 3600 / size[0]
    camera = Camera(width_px=size[0], height_px=size[1], pixel_scale_arcsec=scale)
    altitude = np.arcsin(rng.uniform(np.sin(np.radians(25)), 1.0))
    boresight = direction_from_azalt(rng.uniform(0, 2 * np.pi), altitude)
    across = unit(np.cross(boresight, [0.3, 0.5, 0.8]))
    attitude = np.stack([across, np.cross(boresight, across), boresight], axis=-1)
    attitude = rotation_matrix(boresight, rng.uniform(0, 2 * np.pi)) @ attitude
    day, fraction = erfa.dtf2d("UTC", *START)
    return rendering.View(attitude, np.array([day, fraction]), Sky.over(SITE), camera)


def stars_inside(view: rendering.View, stars: tuple[Array, Array]) -> int:
    """How many stars of the index fall on the sensor."""
    camera = view.camera
    size = np.array([camera.width_px, camera.height_px])
    centre = view.icrs(np.array([camera.centre_px]))[0]
    reach = np.hypot(*size) / 2 * camera.pixel_scale_arcsec / 206265 * 1.05
    places = view.pixels(stars[0][stars[0] @ centre > np.cos(reach)])
    return int(((places >= 0) & (places < size)).all(axis=1).sum())


def write(path: Path, image: Array, middle: Array) -> None:
    """An unsolved frame with time and place."""
    cards = [*time_cards(middle, 4.0), *site_cards(SITE, KEYWORDS)]
    fits.PrimaryHDU(image, fits.Header(cards)).writeto(path, overwrite=True)


def off_px(path: Path, view: rendering.View) -> tuple[float, float]:
    """How far a solution is from the truth, at the centre and at worst over the sensor."""
    width, height = view.camera.width_px, view.camera.height_px
    pixels = np.array(
        [
            [(width - 1) / 2, (height - 1) / 2],
            [0, 0],
            [width - 1, 0],
            [0, height - 1],
            [width - 1, height - 1],
        ]
    )
    true, found = view.icrs(pixels.astype(float)), read_solution(path).icrs_from_pixels(pixels)
    apart = np.linalg.norm(true - found, axis=1) * 206265 / view.camera.pixel_scale_arcsec
    return float(apart[0]), float(apart.max())


def many_frames(count: int) -> None:
    """Part ``frames``."""
    stars, solver = tycho(), Solver().ready()
    rows = []
    with tempfile.TemporaryDirectory() as place:
        for number in range(count):
            rng = np.random.default_rng([2026, number])  # each frame can be drawn by itself
            field = float(np.exp(rng.uniform(np.log(0.4), np.log(30))))
            size = SIZES[rng.choice(len(SIZES), p=OFTEN)]
            limit = 12.5 - 3.5 * np.log(field / 0.4) / np.log(75) + rng.uniform(-0.7, 0.7)
            how = Exposure(
                rng.uniform(2, 6), limit, np.exp(rng.uniform(np.log(30), np.log(1000))), rng.uniform(0, 1),
                rng.uniform(20, 300), rng.uniform(3, 40),
            )  # fmt: skip
            view = a_view(field, size, rng)
            path = Path(place) / f"f{number}.fits"
            write(path, expose(view, stars, how, rng), view.middle)
            scale = view.camera.pixel_scale_arcsec
            told = replace(solver, scale_arcsec=(0.95 * scale, 1.05 * scale))
            done = solve_frames(path, told).frames[0]
            off = off_px(path, view) if done.state is State.SOLVED else (np.nan, np.nan)
            held = stars_inside(view, stars)
            wrong = off[0] > 5 or off[1] > 0.02 * size[0]
            rows.append((field, done.state is State.SOLVED, wrong, off[0], off[1], done.seconds))
            if done.reason or wrong:
                what = f"{field:.2f} deg, {size[0]} px, {how.fwhm_px:.1f} px wide, to {limit:.1f}, {held} stars of the index"
                print(f"  {number}: {what}: {done.reason or off}")
            path.unlink()
            path.with_suffix(".wcs").unlink(missing_ok=True)
    print_table(np.array(rows, dtype=float))


def print_table(rows: Array) -> None:
    print("\nfield, deg   frames  solved  wrong  centre off, px  worst corner off, px  time, s (medians)")
    for low, high in [*itertools.pairwise(BINS), (BINS[0], BINS[-1])]:
        some = rows[(rows[:, 0] >= low) & (rows[:, 0] < high)]
        if len(some):
            fine = some[some[:, 1] == 1]
            middle = np.median(fine[:, 3:], axis=0) if len(fine) else np.full(3, np.nan)
            print(
                f"{low:4.1f} to {high:4.1f} {len(some):8d} {int(some[:, 1].sum()):7d} {int(some[:, 2].sum()):6d}"
                f" {middle[0]:15.3f} {middle[1]:21.3f} {middle[2]:8.2f}"
            )


def sweep(folder: Path, field_deg: float, size: tuple[int, int], seed: int) -> Array:
    """Frames of a mount with a known axis; return the axis."""
    rng = np.random.default_rng(seed)
    sky = Sky.over(SITE)
    axis = mount_axis((23.4, -11.8), sky.refracted_pole)
    camera = Camera(width_px=size[0], height_px=size[1], pixel_scale_arcsec=field_deg * 3600 / size[0])
    angles = np.radians(np.linspace(-35, 35, 8))
    turned = mount_attitudes(axis, True, angles, np.radians(50.0), np.radians(20.0))
    day, fraction = erfa.dtf2d("UTC", *START)
    limit = 12.0 - 3.0 * np.log(field_deg / 0.4) / np.log(75)
    how = Exposure(3.0, limit, 100.0, 0.3, 50.0, 10.0)
    stars = rendering.catalogue() if field_deg > 0.9 else tycho()
    for number, attitude in enumerate(turned):
        middle = np.array([day, fraction + number * 40 / 86400])
        view = rendering.View(attitude, middle, sky, camera)
        write(folder / f"s{number}.fits", expose(view, stars, how, rng), middle)
    return axis


def axes() -> None:
    """Part ``axis``: solver's own solutions against what is fitted to the same matches."""
    print(
        "\nfield, deg  size, px     way            off: azimuth, altitude  sigma: azimuth, altitude  rms, arcsec (arcmin, sky)"
    )
    for seed, (field, size) in enumerate(
        [
            (0.8, (1200, 900)),
            (1.65, (1200, 900)),
            (3.0, (2400, 1600)),
            (8.0, (2400, 1600)),
            (20.0, (3000, 2000)),
        ]
    ):
        with tempfile.TemporaryDirectory() as place:
            true = Sky.over(SITE), sweep(Path(place), field, size, seed)
            for way, refits in (("solver's own", False), ("fitted again", True)):
                scale = field * 3600 / size[0]
                solved = solve_frames(
                    place, Solver(scale_arcsec=(0.95 * scale, 1.05 * scale), refits=refits), again=True
                )
                if len(solved.some(State.SOLVED)) < 4:
                    print(f"{field:10.2f}  {way}: {len(solved.some(State.SOLVED))} of 8 solved")
                    continue
                print_axis(field, size, way, place, true[1])


def print_axis(field: float, size: tuple[int, int], way: str, place: str, axis: Array) -> None:
    answer = measure(place).to_dict()
    found = direction_from_azalt(
        np.radians(answer["axis"]["azimuth_deg"]), np.radians(answer["axis"]["altitude_deg"])
    )
    east = unit(np.cross(axis, [0, 0, 1.0]))
    up = np.cross(east, axis)
    off = [float(found @ east) * 3437.75, float(found @ up) * 3437.75]
    error, shrink = answer["error"], np.cos(np.radians(answer["axis"]["altitude_deg"]))
    print(
        f"{field:10.2f}  {size[0]} x {size[1]:<6d}{way:14s}{off[0]:14.4f} {off[1]:10.4f}"
        f"{error['azimuth_sigma_arcmin'] * shrink:14.4f} {error['altitude_sigma_arcmin']:10.4f}"
        f"{answer['fit']['residual_rms_arcsec']:12.2f}"
    )


def processor() -> float:
    """Time of processors that this process and its children have used. [s]"""
    return sum(os.times()[:4])


def timing() -> None:
    """Part ``time``: eight frames of 24 megapixels."""
    rng, stars, size = np.random.default_rng(5), tycho(), (6000, 4000)
    solver = Solver().ready()
    with tempfile.TemporaryDirectory() as place:
        for number in range(8):
            view = a_view(2.0, size, rng)
            how = Exposure(3.0, 11.0, 200.0, 0.3, 50.0, 10.0)
            write(Path(place) / f"t{number}.fits", expose(view, stars, how, rng), view.middle)
        scale = view.camera.pixel_scale_arcsec
        paths = sorted(Path(place).glob("*.fits"))
        spent: Counter[str] = Counter()
        for path in paths:
            before = processor()
            begun = time.perf_counter()
            image = read_image(path)
            spent["reading"] += time.perf_counter() - begun
            spent["processor"] += processor() - before
            begun = time.perf_counter()
            listed = list_stars(image.pixels)
            spent["stars"] += time.perf_counter() - begun
            with tempfile.TemporaryDirectory() as folder:
                task = Task(path, listed, Hints((0.95 * scale, 1.05 * scale), None, True), Path(folder), 60.0)
                begun, before = time.perf_counter(), processor()
                solver.engine.match(task, Children())
                spent["solver"] += time.perf_counter() - begun
                spent["processor"] += processor() - before
        before, begun = processor(), time.perf_counter()
        done = solve_frames(place, replace(solver, scale_arcsec=(0.95 * scale, 1.05 * scale)))
        whole = time.perf_counter() - begun
        cpu = processor() - before
    base = spent["reading"] + spent["solver"]
    print(f"\nprocessor: reading and solver {spent['processor']:.2f} s, polarcheck solve {cpu:.2f} s")
    print(f"\n8 frames of 24 Mpx, one after the other: reading {spent['reading']:.2f} s, stars {spent['stars']:.2f} s, "
          f"solver {spent['solver']:.2f} s")  # fmt: skip
    print(f"polarcheck solve, all: {whole:.2f} s, {whole / base:.2f} times reading and solver; "
          f"{cpu:.2f} s of processor; {len(done.some(State.SOLVED))} solved")  # fmt: skip


def main(words: list[str]) -> None:
    """Run the parts that are named, or all."""
    count = next((int(word) for word in words if word.isdecimal()), 150)
    parts = {
        "frames": lambda: many_frames(count),
        "axis": axes,
        "time": timing,
    }
    for part in [word for word in words if word in parts] or list(parts):
        parts[part]()


if __name__ == "__main__":
    main(sys.argv[1:])
