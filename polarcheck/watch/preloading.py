"""What the first frames would load, loaded before they come."""

from __future__ import annotations

import numpy as np
import scipy.special as _special

from polarcheck.followup import follow_frames
from polarcheck.frames import load_readers
from polarcheck.knobs import correct
from polarcheck.measurement import MeasurementSchema, measure_frames
from polarcheck.outlook import check_drift
from polarcheck.sky import earth_orientation

__all__ = ["warm_up"]

_ANY_NIGHT = np.array([[2461359.0, 0.5]])  # decides nothing: the tables are loaded whole


def warm_up() -> None:
    """Load libraries and tables; a second call costs nothing."""
    assert all((_special, follow_frames, correct, MeasurementSchema, measure_frames, check_drift))
    load_readers()
    earth_orientation(_ANY_NIGHT)
