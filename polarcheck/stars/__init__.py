"""Stars measured from pixels: where they are, how large, how elongated, and which of them serve as a mark.

Everything here takes arrays; only `polarcheck.frames` reads files.
"""

from __future__ import annotations

from polarcheck.stars.choice import mark_candidates
from polarcheck.stars.mosaic import as_one_plane
from polarcheck.stars.summary import StarSummary, summarise
from polarcheck.stars.table import StarTable, find_stars

__all__ = ["StarSummary", "StarTable", "as_one_plane", "find_stars", "mark_candidates", "summarise"]
