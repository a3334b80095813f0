"""Does the exposure that holds with 95 % confidence hold in 95 % of nights?

Run ``python -m tests.benchmarks.confidence`` from the project's root (``--nights N``, ``--frames 3 4 8``, ``--fits``). A
mount with a known axis; each night its frames have other noise, of a size that nobody told. The axis and its covariance
follow the theory of least squares: the axis normal about the true one, the scale by chi square of the degrees of
freedom; with ``--fits`` they come from the fit of drawn frames. Printed per number of frames, unguided and guided: the
share of nights in which the true axis allows what was said, its standard error, and the median of what was said over
what is true. The longest exposure by axis is found once, on a grid of axes, and read between them.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from polarcheck.axis.fit import fit_axis
from polarcheck.constants import ARCMIN, ARCSEC, FRAME_NOISE_PX
from polarcheck.frames import SENSOR_WEIGHTS
from polarcheck.outlook.exposure import axes_drawn, limits_of, telling_places
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import Scene as TargetScene
from polarcheck.outlook.scene import set_scene
from polarcheck.vectors import tangent_basis, unit
from tests.benchmarks.mounts import Array, Scene, Sweep, solved_sky
from tests.benchmarks.recovery import bound_arcmin, spread

OPTICS = Optics(1.5, 6000, 4000, guide_offset_deg=(0.4, 0.3))
TARGET, TOLERANCE_ARCSEC = (40.0, 55.0), 3.0
REACH_SIGMAS, STEPS = 15.0, 81
Found = tuple[Array, Array, int]


def limits_by_axis(mount: Scene, target: TargetScene, sigma: float) -> Callable[[Array], Array]:
    """Longest exposure [s] for axes, shape (n, 3), within some sigmas [rad] of the true one; beyond, that of the rim."""
    line = np.linspace(-REACH_SIGMAS, REACH_SIGMAS, STEPS) * sigma
    basis = tangent_basis(mount.axis)
    offsets = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1)
    axes = unit(mount.axis + offsets.reshape(-1, 2) @ basis.T)
    few = telling_places(target, axes[:: len(axes) // 40], 600.0)
    rates = 1 / limits_of(few, axes, TOLERANCE_ARCSEC)
    read = RegularGridInterpolator((line, line), rates.reshape(STEPS, STEPS))

    def limits(axes: Array) -> Array:
        there = axes @ basis / (axes @ mount.axis)[:, None]
        with np.errstate(divide="ignore"):
            return np.asarray(1 / read(np.clip(there, line[0], line[-1])))

    return limits


def by_theory(mount: Scene, nights: int, seed: int) -> Iterator[Found]:
    """Axis, covariance [rad^2] and degrees of freedom of each night as least squares give them."""
    rng, dof = np.random.default_rng(seed), 2 * len(mount.group) - 4
    sigmas = bound_arcmin(mount) * ARCMIN
    basis = tangent_basis(mount.axis)
    for _ in range(nights):
        axis = unit(mount.axis + basis @ (rng.normal(size=2) * sigmas))
        yield axis, np.diag(sigmas**2) * rng.chisquare(dof) / dof, dof


def by_fits(mount: Scene, nights: int, seed: int) -> Iterator[Found]:
    """The same from the fit of drawn frames."""
    noise = np.full(len(mount.group), mount.camera(0).pixel_scale_arcsec * FRAME_NOISE_PX * ARCSEC)
    for night in range(nights):
        sky = solved_sky(mount, np.random.default_rng([seed, night]))
        seen = mount.sky.observed(sky, mount.epochs)
        fit = fit_axis(seen, SENSOR_WEIGHTS, noise, mount.pole.direction)
        yield fit.axis, fit.covariance, fit.degrees_of_freedom


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--nights", type=int, default=2000)
    asked.add_argument("--frames", type=int, nargs="*", default=[3, 4, 8])
    asked.add_argument("--fits", action="store_true")
    given = asked.parse_args()
    print("frames  guided  true, s   holds, %   good to, %   said / true")
    for count in given.frames:
        mount = Scene([Sweep(spread(count))], error_arcmin=(1.5, -1.0), stars=0)
        found = list((by_fits if given.fits else by_theory)(mount, given.nights, count))
        for guided in (False, True):
            moment = float(mount.utc[-1, 0]), float(mount.utc[-1, 1])
            target = set_scene(mount.sky, mount.pole, TARGET, moment, OPTICS, guided=guided)
            limits = limits_by_axis(mount, target, float(bound_arcmin(mount).max() * ARCMIN))
            (true,) = limits(mount.axis[None])
            said = [np.quantile(limits(axes_drawn(*night)), 0.05, method="lower") for night in found]
            part = np.mean(np.array(said) <= true)
            good = np.sqrt(part * (1 - part) / given.nights)
            print(
                f"{count:6d}  {guided!s:>6}  {true:7.0f}  {100 * part:9.1f}  {100 * good:11.1f}"
                f"  {np.median(said) / true:12.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
