"""Where the frames of a measurement looked, as site and clock have it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from polarcheck.site import Site
from polarcheck.sky import AIRLESS, Epochs, Sky, sun_altitude_deg
from polarcheck.vectors import Array

__all__ = ["Pointings"]


@dataclass(frozen=True, slots=True)
class Pointings:
    """The centres of `n` frames over a site.

    Attributes
    ----------
    centres : ndarray, shape (n, 3)
        ICRS unit vectors.
    epochs : Epochs
        When.
    site : Site
        Where.
    altitudes_deg : ndarray, shape (n,)
        Without air. [deg]
    """

    centres: Array
    epochs: Epochs
    site: Site
    altitudes_deg: Array

    @classmethod
    def of(cls, centres: Array, epochs: Epochs, site: Site) -> Self:
        """Return the frames' centres over a site."""
        height = Sky(site, AIRLESS).observed(centres[:, None], epochs)[:, 0, 2]
        return cls(centres, epochs, site, np.degrees(np.arcsin(np.clip(height, -1, 1))))

    def at(self, some: npt.NDArray[np.bool_]) -> Pointings:
        """Return some of them."""
        return Pointings(self.centres[some], self.epochs.at(some), self.site, self.altitudes_deg[some])

    @property
    def above_horizon(self) -> npt.NDArray[np.bool_]:
        """Which stand above it, shape (n,)."""
        return np.asarray(self.altitudes_deg > 0.0)

    @property
    def sun_altitudes_deg(self) -> Array:
        """The Sun's altitude then, without air, shape (n,). [deg]"""
        return sun_altitude_deg(self.epochs, self.site)
