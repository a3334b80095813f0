"""Colours of 16 bits, of which Pillow keeps the upper 8: unpacked twice, once with the bytes of each count swapped."""

from __future__ import annotations

import sys
from typing import Any

__all__ = ["is_wide", "lower_bytes"]


def is_wide(image: Any) -> bool:
    """Whether an opened picture, not yet unpacked, has colours of 16 bits."""
    return image.mode.startswith("RGB") and any(_raw_mode(tile)[-4:-1] == ";16" for tile in image.tile)


def lower_bytes(image: Any) -> None:
    """Let an opened picture unpack the lower bytes of its counts instead of the upper ones."""
    image.tile = [_told(tile, _swapped(_raw_mode(tile))) for tile in image.tile]


def _told(tile: Any, raw_mode: str) -> Any:
    """Return an instruction for the unpacker with another raw mode."""
    told = (raw_mode, *tile[3][1:]) if isinstance(tile[3], tuple) else raw_mode
    changed = (*tile[:3], told)
    return type(tile)(*changed) if hasattr(tile, "_fields") else changed  # older versions have plain tuples


def _raw_mode(tile: Any) -> str:
    return str(tile[3][0] if isinstance(tile[3], tuple) else tile[3])


def _swapped(raw_mode: str) -> str:
    """``RGB;16B`` for ``RGB;16L``: the byte that counts most where numbers are written the other way round."""
    order = raw_mode[-1]
    if order == "N":
        order = "L" if sys.byteorder == "little" else "B"
    return raw_mode[:-1] + ("B" if order == "L" else "L")
