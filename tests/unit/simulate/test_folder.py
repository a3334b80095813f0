"""Which files a new simulation takes for its own: those whose headers say so."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.simulate.folder import fresh_paths

BLOCK = 2880  # bytes, FITS Standard 4.0, section 3.1
CARD = b"OBJECT  = 'simulated mount'"


@pytest.mark.parametrize(("where", "is_ours"), [(3 * BLOCK - 100, True), (3 * BLOCK, False)])
def test_headers_tell_and_pixels_do_not(tmp_path: Path, where: int, is_ours: bool) -> None:
    """A header's first block and two of the image's: what comes later may be anybody's pixels."""
    (tmp_path / "simulated_01.fits.fz").write_bytes(CARD.rjust(where + len(CARD)).ljust(10 * BLOCK))
    if is_ours:
        assert [path.name for path in fresh_paths(tmp_path, 1)] == ["simulated_01.fits.fz"]
    else:
        with pytest.raises(InputError, match="no simulation wrote"):
            fresh_paths(tmp_path, 1)
