"""Values of header cards: those read here against astropy's own, which is the reference."""

from __future__ import annotations

import pytest
from astropy.io import fits

from polarcheck.frames.cards import Cards, is_plain_card

# value field from column 11 on, as the FITS Standard 4.0, section 4.2, has it in fixed format (from memory)
FIXED = [
    f"{number:>20}"
    for number in (
        "31.25",
        "-.5",
        "+2.",
        "6.7E-07",
        "-2E-10",
        "1E-07",
        "1.5D3",
        "4D0",
        "17",
        "-3",
        "T",
        "F",
    )
]
TEXTS = ["'RA---TAN'", "'it''s'", "'        '", "'deg     '           / unit"]
FREE = ["'unclosed", "  1.0 2.0", f"{'1e-3':>20}", f"{'2E':>20}"]


@pytest.mark.parametrize("value", FIXED + TEXTS)
def test_value_in_fixed_format_is_astropys(value: str) -> None:
    card = f"KEY     = {value}".ljust(80).encode("ascii")
    assert is_plain_card(card)
    expected = fits.Card.fromstring(card).value
    found = Cards({"KEY": card}).value("KEY")
    assert found == (expected.strip() or None if isinstance(expected, str) else expected)
    assert isinstance(found, type(expected)) or found is None


@pytest.mark.parametrize("value", FREE)
def test_what_is_written_otherwise_is_not_plain(value: str) -> None:
    assert not is_plain_card(f"KEY     = {value}".ljust(80).encode("ascii"))
