"""Stars of a large frame: time against another library, and errors against drawn truth.

Run ``python -m tests.benchmarks.stars`` from the project's root. 6000 x 4000 px, 800 stars, both from an array in memory;
the other library (sep) finds background, stars and moments in the same run. Times are the processor's, the least of
five runs. ``--mosaics N`` draws N exposures of colour cameras at random and prints how their widths come out.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator

import numpy as np
import sep

from polarcheck.stars import find_stars, summarise
from tests.drawn_cameras import Shot
from tests.drawn_stars import draw, recorded

SHAPE, COUNT, ROUNDS = (4000, 6000), 800, 5


def ours(image: np.ndarray) -> None:
    """Stars and their medians."""
    summarise(find_stars(image))


def theirs(image: np.ndarray) -> None:
    """Background, extraction and moments by sep."""
    background = sep.Background(image)
    sep.extract(image - background, 5.0, err=background.globalrms)


def seconds(work: object, image: np.ndarray) -> float:
    """Least time of a few runs. [s]"""
    assert callable(work)
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work(image)
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Print times and errors."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--mosaics", type=int, default=0)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    if given.mosaics:
        mosaics(given.mosaics, given.seed)
        return
    print("fwhm  trail  noise   ours, s  sep, s  fwhm/drawn  elongation/drawn  angle off, deg  trail, px")
    for fwhm, trail, angle, noise in (
        (2.5, 0.0, 0.0, 12.0),
        (4.0, 0.0, 0.0, 12.0),
        (4.0, 0.0, 0.0, 40.0),
        (3.0, 4.0, 35.0, 12.0),
        (4.0, 6.0, 100.0, 12.0),
        (4.0, 6.0, 100.0, 40.0),
        (4.0, 14.0, 160.0, 12.0),
        (4.0, 40.0, 20.0, 12.0),
    ):
        image, _, _ = draw(SHAPE, COUNT, fwhm, trail=trail, angle=angle, noise=noise)
        stars = summarise(find_stars(image))
        off = abs(((stars.trail_angle_deg or 0) - angle + 90) % 180 - 90) if trail else float("nan")
        print(
            f"{fwhm:4.1f}  {trail:5.1f}  {noise:5.0f}  {seconds(ours, image):8.3f}  {seconds(theirs, image):6.3f}"
            f"  {(stars.fwhm_px or 0) / fwhm:10.3f}  {(stars.elongation or 0) / recorded(fwhm, trail)[1]:16.3f}"
            f"  {off:14.1f}  {stars.trail_px or 0:9.2f}",
            flush=True,
        )
    wings()
    colours()


def wings() -> None:
    """Print the width of stars with wings and of narrow ones; smaller images, the accuracy is the same."""
    print("fwhm  Moffat index  fwhm/drawn  elongation  fwhm/drawn at the pixels' centres")
    for fwhm, beta in ((2.0, None), (2.5, 2.5), (3.0, 2.5), (3.0, 4.765), (5.0, 2.5), (8.0, 2.5)):
        stars, centres = (
            summarise(find_stars(draw((1500, 2000), 120, fwhm, beta=beta, sampled=sampled)[0]))
            for sampled in (False, True)
        )
        print(
            f"{fwhm:4.1f}  {beta or 'Gaussian':>12}  {(stars.fwhm_px or 0) / fwhm:10.3f}"
            f"  {stars.elongation or 0:10.3f}  {(centres.fwhm_px or 0) / fwhm:10.3f}"
        )


def colours() -> None:
    """Print times of a colour mosaic and of three colour planes, of 6000 x 4000 px each."""
    for count, fwhm in ((COUNT, 3.0), (5000, 1.8), (5000, 4.0)):
        counts = Shot(shape=SHAPE, count=count, fwhm=fwhm).draw()
        width = summarise(find_stars(counts)).fwhm_px or np.nan
        print(
            f"mosaic, {count} stars of {fwhm} px: {seconds(ours, counts):.3f} s, sep"
            f" {seconds(theirs, counts.astype(np.float32)):.3f} s, fwhm/drawn {width / fwhm:.3f}"
        )
    planes = np.stack([np.clip(draw(SHAPE, COUNT, 3.0)[0], 0, 65535).astype(np.uint16)] * 3)
    print(f"three planes, s: {seconds(ours, planes):.3f}")


def shots(number: int, seed: int = 1) -> Iterator[tuple[Shot, str | None]]:
    """Exposures of colour cameras of many kinds, and the pattern that their header names."""
    rng = np.random.default_rng(seed)
    for k in range(number):
        pattern = str(rng.choice(["RGGB", "BGGR", "GRBG", "GBRG"]))
        red, blue = rng.uniform(0.4, 1.0, 2)
        shot = Shot(
            shape=(1000, 1500),
            count=int(np.exp(rng.uniform(np.log(20), np.log(4000)))),
            fwhm=float(rng.uniform(1.6, 6.0)),
            trail=float(rng.uniform(1, 15)) if rng.uniform() < 0.3 else 0.0,
            angle=float(rng.uniform(0, 180)),
            beta=float(rng.uniform(2.5, 5.0)) if rng.uniform() < 0.3 else None,
            pattern=pattern,
            gains=(1.9 * red, 1.0, 1.7 * blue) if rng.uniform() < 0.3 else (red, 1.0, blue),
            tints=float(rng.uniform(0.1, 0.6)),
            sky=float(np.exp(rng.uniform(np.log(5), np.log(3000)))),
            slope=float(rng.uniform(0, 1.2)),
            sky_colour=(float(rng.uniform(0.6, 1.5)), 1.0, float(rng.uniform(0.6, 1.3))),
            vignetting=float(rng.uniform(0, 0.5)),
            read_noise=float(rng.uniform(1, 12)),
            pedestal=float(rng.uniform(100, 2000)),
            electrons=float(rng.uniform(0.3, 4.0)),
            bits=int(rng.choice([12, 14, 16])),
            hot=float(10 ** rng.uniform(-5, -3)),
            peak=(float(rng.uniform(100, 600)), float(rng.uniform(5e3, 1e5))),
            seed=1000 * seed + k,
        )
        yield shot, pattern if rng.uniform() < 0.5 else None


def mosaics(number: int, seed: int) -> None:
    """Print how the widths of colour cameras' exposures come out."""
    ratios, kinds = [], []
    for shot, said in shots(number, seed):
        stars = summarise(find_stars(shot.draw(), mosaic=said))
        ratio = (stars.fwhm_px or np.nan) / shot.fwhm
        ratios.append(ratio)
        kinds.append(
            (said is not None, shot.fwhm < 2.2, shot.count > 1000, shot.trail > 0, shot.beta is not None)
        )
        if not 0.95 < ratio < 1.05:
            print(f"  {ratio:.3f}, {stars.stars} found, {stars.shaped} measured: pattern {said}, {shot}")
    whole, names = (
        np.array(ratios),
        ("pattern named", "under 2.2 px", "over 1000 stars", "trailed", "with wings"),
    )
    for name, some in (("all", np.ones(number, dtype=bool)), *zip(names, np.array(kinds).T, strict=True)):
        part = whole[some]
        known = part[np.isfinite(part)]
        print(
            f"{name:16s} {len(part):4d}: within 5 % {np.mean(np.abs(part - 1) < 0.05):.3f}, unknown"
            f" {np.mean(np.isnan(part)):.3f}, off {np.sum(np.abs(part - 1) >= 0.05)},"
            f" from {known.min():.3f} to {known.max():.3f}"
        )


if __name__ == "__main__":
    main()
