"""Stars of a large frame: time against another library, and errors against drawn truth.

Run ``python -m tests.benchmarks.stars`` from the project's root. 6000 x 4000 px, 800 stars, both from an array in memory;
the other library (sep) finds background, stars and moments in the same run.
"""

from __future__ import annotations

import time

import numpy as np
import sep

from polarcheck.stars import find_stars, summarise
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
    """Median time of a few runs. [s]"""
    assert callable(work)
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work(image)
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def main() -> None:
    """Print times and errors."""
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
    image, _, _ = draw(SHAPE, COUNT, 3.0)
    counts = np.clip(image, 0, 65535).astype(np.uint16)
    print(f"mosaic, s: {seconds(lambda i: summarise(find_stars(i, mosaic='RGGB')), counts):.3f}")
    planes = np.stack([counts] * 3)
    print(f"three planes, s: {seconds(ours, planes):.3f}")


if __name__ == "__main__":
    main()
