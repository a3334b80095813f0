"""The axis as each camera sees it, in polar coordinates about the boresight.

A frame's camera sees the axis at a distance and in a direction. While the mount turns about its axis alone, both
stay. A turn about the declination axis changes the distance only; so the direction still serves where a guider
moved the declination.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.vectors import Array, tangent_basis, unit, wrap

__all__ = ["PolarPlaces", "polar_places"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PolarPlaces:
    """Where the cameras of `n` frames see an axis.

    Attributes
    ----------
    distance : ndarray, shape (n,)
        From the boresight. [rad]
    direction : ndarray, shape (n,)
        About the boresight, right-handed, from a direction fixed in the camera. [rad]
    design : ndarray, shape (n, 2, 2)
        Change of the distance, and of the direction times the sine of the distance, with a displacement of the
        axis along its `tangent_basis`.
    variances : ndarray, shape (n, 2)
        Of both, in units of the pointing's, for roll as stars spread evenly over the sensor give it.
    """

    distance: Array
    direction: Array
    design: Array
    variances: Array

    def misfit(self, groups: Ints, used: Bools) -> Array:
        """Both components less their group's, shape (n, 2), in the sign of what the axis must still move. [rad]"""
        found = np.zeros((len(groups), 2))
        for g in np.unique(groups):
            mine = groups == g
            basis = mine & used if (mine & used).any() else mine
            turned = wrap(self.direction[mine] - self.direction[basis][-1])
            found[mine, 0] = self.distance[basis].mean() - self.distance[mine]
            found[mine, 1] = np.sin(self.distance[mine]) * (turned[basis[mine]].mean() - turned)
        return found


def polar_places(attitudes: Attitudes, axis: Array) -> PolarPlaces:
    """Return where each frame's camera sees the axis."""
    boresight = attitudes.boresights[attitudes.camera]
    inner = np.einsum("nji,j->ni", attitudes.matrices, axis)
    moved = np.einsum("nji,jk->nik", attitudes.matrices, tangent_basis(axis))
    cosine = np.einsum("ni,ni->n", inner, boresight)
    across = inner - cosine[:, None] * boresight
    sine = np.linalg.norm(across, axis=-1)
    towards = across / np.maximum(sine, 1e-12)[:, None]
    around = np.cross(boresight, towards)
    bases = np.stack([tangent_basis(one) for one in attitudes.boresights])[attitudes.camera]
    first = bases[..., 0]
    second = np.cross(boresight, first)
    direction = np.arctan2(np.einsum("ni,ni->n", inner, second), np.einsum("ni,ni->n", inner, first))
    outward = cosine[:, None] * towards - sine[:, None] * boresight
    design = np.stack(
        [np.einsum("ni,nik->nk", unit(outward), moved), np.einsum("ni,nik->nk", around, moved)], axis=1
    )
    roll = cosine**2 + sine**2 / attitudes.roll_moments[attitudes.camera]
    variances = np.stack([np.ones_like(roll), roll], axis=-1)
    return PolarPlaces(np.arctan2(sine, cosine), direction, design, variances)
