"""Numbers of EXIF's tags against a library's table of them (pillow, ExifTags)."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from PIL import ExifTags

from polarcheck.frames.exif import GPS_TAGS, TAGS


@pytest.mark.parametrize(("own", "known"), [(TAGS, ExifTags.TAGS), (GPS_TAGS, ExifTags.GPSTAGS)])
def test_a_number_means_what_pillow_reads_by_it(own: Mapping[int, str], known: Mapping[int, str]) -> None:
    assert {number: known.get(number, "").lower() for number in own} == {
        number: name.lower() for number, name in own.items()
    }
