"""Observed directions to camera attitudes, one rotation a frame.

A camera is a rigid bundle of directions. Its shape (the template) comes from its frames' own full WCS, so
distortion and mirror images need no special case.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array, best_rotations, unit

__all__ = ["Attitudes", "camera_attitudes"]

Ints = npt.NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class Attitudes:
    """The attitudes of `n` frames by `m` cameras.

    Attributes
    ----------
    matrices : ndarray, shape (n, 3, 3)
        Each carries camera directions to East-North-Up ones.
    camera : ndarray of int, shape (n,)
        Which camera took the frame.
    templates : ndarray, shape (m, k, 3)
        The sensor points as unit vectors fixed in the camera.
    boresights : ndarray, shape (m, 3)
        The weighted mean direction of the points.
    roll_moments : ndarray, shape (m,)
        Weighted mean of the squared sine of the points' distance from the boresight: the information
        about roll that a unit of information about pointing brings, for stars spread over the sensor.
    noise : ndarray, shape (n,)
        Assumed one-sigma noise of a frame's pointing, per coordinate. [rad]
    observed : ndarray, shape (n, k, 3)
        The directions they were made from.
    weights : ndarray, shape (k,)
        The points' weights, sum 1.
    """

    matrices: Array
    camera: Ints
    templates: Array
    boresights: Array
    roll_moments: Array
    noise: Array
    observed: Array
    weights: Array

    def residuals(self, models: Array) -> Array:
        """Return the root mean square angle between seen and modelled points, shape (n,). [rad]

        Parameters
        ----------
        models : ndarray, shape (n, 3, 3)
            The attitudes that a model gives.
        """
        modelled = np.einsum("nij,nkj->nki", models, self.templates[self.camera])
        squares = np.sum((modelled - self.observed) ** 2, axis=-1)
        return np.asarray(np.sqrt(squares @ self.weights))


def camera_attitudes(observed: Array, weights: Array, camera: Ints, noise: Array) -> Attitudes:
    """Find each frame's attitude, and each camera's template.

    Parameters
    ----------
    observed : ndarray, shape (n, k, 3)
        East-North-Up unit vectors of the sensor points of each frame.
    weights : ndarray, shape (k,)
        Weights of the points, sum 1. Their second moments should equal those of stars spread evenly.
    camera : ndarray of int, shape (n,)
        Camera of each frame, counted from 0.
    noise : ndarray, shape (n,)
        Assumed one-sigma noise of a frame's pointing, per coordinate. [rad]
    """
    count = int(camera.max()) + 1
    matrices = np.empty((len(observed), 3, 3))
    templates = np.empty((count, observed.shape[1], 3))
    for c in range(count):
        seen = observed[camera == c]
        template = seen[0]
        for _ in range(2):  # the second pass uses the mean shape of all its frames
            turned = best_rotations(template, seen, weights)
            template = unit(np.einsum("nji,nkj->ki", turned, seen))
        templates[c] = template
        matrices[camera == c] = best_rotations(template, seen, weights)
    boresights = unit(np.einsum("k,mki->mi", weights, templates))
    off_axis = 1 - np.einsum("mki,mi->mk", templates, boresights) ** 2
    return Attitudes(matrices, camera, templates, boresights, off_axis @ weights, noise, observed, weights)
