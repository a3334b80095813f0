"""How far the catalogues of nebulae, clusters and galaxies go."""

from __future__ import annotations

import re

import pytest

from polarcheck.errors import InputError
from polarcheck.sky.deep_sky import deep_sky_object


@pytest.mark.parametrize("prefix", ["M", "C", "NGC", "IC"])
def test_number_beyond_a_catalogue_is_told_its_last_one_which_is_there(prefix: str) -> None:
    """The one that is named is an object, the next is none: by the catalogue itself, whose numbers are those printed."""
    with pytest.raises(InputError, match=f"goes from {prefix} 1 to {prefix} ") as refused:
        deep_sky_object(f"{prefix} 99999")
    found = re.search(rf"to {prefix} (\d+)", str(refused.value))
    assert found is not None
    last = int(found[1])
    assert deep_sky_object(f"{prefix} {last}").names
    with pytest.raises(InputError, match="is not in the catalogue"):
        deep_sky_object(f"{prefix} {last + 1}")


def test_catalogue_whose_end_is_not_known_names_none() -> None:
    with pytest.raises(InputError, match=r"is not in the catalogue; write"):
        deep_sky_object("Barnard 99999")
