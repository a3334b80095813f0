"""The catalogue of nebulae, clusters and galaxies that comes with a package: designations and common names.

Read by the standard library straight from its table, since its own interface asks the table anew for each name
and finds names by their parts.
"""

from __future__ import annotations

import math
import re
import sqlite3
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from importlib import resources
from pathlib import Path

from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.sky.common_names import ALSO_AN_OBJECT, CONSTELLATIONS, MOVING, NAMES, PLACES

__all__ = ["DeepSkyObject", "deep_sky_object"]

_EXAMPLE = "write a name such as M31, NGC 7000 or Rosette Nebula, or RA,DEC such as 10.68,41.27"
_KINDS = ("nebula", "galaxy", "galaxies", "cluster")
_PREFIXES = {
    "messier": "m",
    "caldwell": "c",
    "collinder": "cl",
    "cr": "cl",
    "col": "cl",
    "melotte": "mel",
    "barnard": "b",
    "hickson": "hcg",
    "leda": "pgc",
    "harvard": "h",
    "sharpless2": "sh2",
    "sharpless": "sh2",
}
_LAST = {"m": 110, "c": 109, "ngc": 7840, "ic": 5386}
_DESIGNATION = re.compile(r"(?P<prefix>sh ?2|sharpless ?2|[a-z]+)[ -]*(?P<number>\d+)(?P<rest>[a-z0-9+ -]*)")
_COLUMNS = "name, type, ra, dec, messier, ngc, ic, commonnames"


@dataclass(frozen=True, slots=True)
class DeepSkyObject:
    """An object of the catalogue.

    Attributes
    ----------
    names : tuple of str
        Designations, then common names, the best known first; printable.
    ra_deg, dec_deg : float
        ICRS. [deg]
    """

    names: tuple[str, ...]
    ra_deg: float
    dec_deg: float


def deep_sky_object(text: str) -> DeepSkyObject:
    """Return the object with a designation or a common name; a name is matched whole.

    Parameters
    ----------
    text : str
        ``"M 42"``, ``"NGC7000"``, ``"Caldwell 49"``, ``"Orion Nebula"``, ``"orion"`` (the kind of object may be
        missing where one object only is left).

    Raises
    ------
    InputError
        No object, several, or a body that moves; the text names what is like it.

    References
    ----------
    .. [1] OpenNGC, as shipped in the package pyongc; J2000 places, which differ from ICRS by under 0.1 arcsec.
    """
    words = _words(text)
    _refuse_moving(words, text)
    called = _called(words, text)
    if called is not None:
        return _object(called)
    found = _by_designation(_lowered(text))
    if found is not None:
        return found
    raise InputError(_unknown(words, text))


def _words(text: str) -> str:
    """Return what is left of a name without case, accents, apostrophes and signs."""
    plain = unicodedata.normalize("NFKD", text).casefold().replace("&", " and ")
    bare = re.sub(r"['’`ʼ\u0300-\u036f]", "", plain)
    return " ".join(re.sub(r"[\W_]+", " ", bare).split()).removeprefix("the ")


def _lowered(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().replace("−", "-").split())


def _refuse_moving(words: str, text: str) -> None:
    if words == "sun":
        raise InputError(
            "the Sun is no target: never point optics at it. Write a name such as M31, or RA,DEC such as 10.68,41.27"
        )
    if words in MOVING:
        raise InputError(
            f"'{printable(text, 40)}' moves among the stars and has no place in a catalogue: give RA,DEC for the time"
        )


@lru_cache(maxsize=1)
def _table() -> sqlite3.Connection:
    path = Path(str(resources.files("pyongc") / "ongc.db"))
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)


@lru_cache(maxsize=1)
def _names() -> tuple[dict[str, str], dict[str, dict[str, str]]]:
    """Return whole names -> designation, and names without the kind of object -> whole name -> designation."""
    own = {name: which for which, names in NAMES.items() for name in names}
    own |= {name: which for which, (_ra, _dec, names) in PLACES.items() for name in (*names, which)}
    rows = _table().execute("SELECT name, commonnames FROM objects WHERE commonnames <> ''")
    listed = {name: str(which) for which, names in rows for name in str(names).split(",")}
    whole: dict[str, str] = {}
    short: dict[str, dict[str, str]] = {}
    for names in (own, listed):  # ours first: the catalogue gives some names to another object than people do
        shorter: dict[str, dict[str, str]] = {}
        for name, which in names.items():
            words = _words(name)
            whole.setdefault(words, which)
            first, _, kind = words.rpartition(" ")
            if kind in _KINDS and first:
                shorter.setdefault(first, {})[words] = whole[words]
        short = shorter | short
    return whole, short


def _called(words: str, text: str) -> str | None:
    whole, short = _names()
    first, _, kind = words.rpartition(" ")
    for name in (words, first if kind in _KINDS else ""):
        if name in whole and name not in CONSTELLATIONS:
            return whole[name]
    several = short.get(words, {})
    if words in CONSTELLATIONS and words not in ALSO_AN_OBJECT:
        meant = f"; did you mean {_said(several)}?" if several else f"; {_EXAMPLE}"
        raise InputError(f"'{printable(text, 40)}' is a constellation, too large for a target{meant}")
    if (
        len(set(several.values())) > 1
    ):  # a nebula is what one takes for granted beside a galaxy, not beside a cluster
        several = {name: which for name, which in several.items() if "galax" not in name} or several
    if len(set(several.values())) > 1:
        raise InputError(f"'{printable(text, 40)}' may be {_said(several)}: write which")
    return next(iter(several.values()), None)


def _said(names: dict[str, str]) -> str:
    """Return names with their designations; of one object one name."""
    of = {which: name for name, which in names.items()}
    return " or ".join(f"{_titled(name)} ({_object(which).names[0]})" for which, name in sorted(of.items()))


def _titled(words: str) -> str:
    return " ".join(word.capitalize() for word in words.split())


def _by_designation(text: str) -> DeepSkyObject | None:
    match = _DESIGNATION.fullmatch(text)
    if match is None:
        return None
    prefix, number, rest = _parts(match)
    if (called := _places().get(f"{prefix}{number}{rest}")) is not None:
        return _object(called)
    if prefix == "m" and not rest:
        return _made(_messier().get(number))
    padded = {f"{prefix}{number:0{width}d}{_padded(rest)}".upper() for width in range(1, 7)}
    padded.add(text.replace(" ", "").upper())
    marks = ",".join("?" * len(padded))
    row = _table().execute(
        f"SELECT {_COLUMNS} FROM objects WHERE name = "
        f"(SELECT name FROM objIdentifiers WHERE identifier IN ({marks}))",
        sorted(padded),
    )
    return _made(row.fetchone())


def _parts(match: re.Match[str]) -> tuple[str, int, str]:
    prefix = match["prefix"].replace(" ", "")
    return _PREFIXES.get(prefix, prefix), int(match["number"][:9]), match["rest"].replace(" ", "")


def _padded(rest: str) -> str:
    """Return the second number of ESO 56-115 as the table has it, with three digits; others as they are."""
    ned = re.sub(r"ned0*(\d+)", lambda found: f" NED{int(found[1]):02d}", rest)
    return re.sub(r"^-0*(\d{1,3})$", lambda found: f"-{int(found[1]):03d}", ned)


@lru_cache(maxsize=1)
def _places() -> dict[str, str]:
    """Return what has its place from us, and other designations of what has it from the catalogue."""
    ours = {which: which for which in PLACES} | {
        name: which for which, names in NAMES.items() for name in names
    }
    return {re.sub(r"[ -]", "", name).lower(): which for name, which in ours.items() if name[-1].isalnum()}


_Row = tuple[str, str, float | None, float | None, str, str, str, str]


@lru_cache(maxsize=1)
def _messier() -> dict[int, _Row]:
    rows = _table().execute(f"SELECT {_COLUMNS} FROM objects WHERE messier <> '' AND type <> 'Dup'")
    return {int(row[4]): row for row in rows}


def _object(which: str) -> DeepSkyObject:
    if which in PLACES:
        ra, dec, names = PLACES[which]
        return DeepSkyObject((which, *names[:1]), ra, dec)
    found = _by_designation(_lowered(which))
    if found is None:
        raise InputError(f"the catalogue lacks {which}")
    return found


def _made(row: _Row | None) -> DeepSkyObject | None:
    if row is None:
        return None
    name, kind, ra, dec, messier, ngc, ic, common = row
    main = f"ngc{ngc}" if ngc else f"ic{ic}" if ic else f"m{messier}" if messier else ""
    if kind == "Dup" and main and (found := _by_designation(re.split("[,;]", main)[0].lower())) is not None:
        return found
    designation = re.sub(r"(?<=[A-Za-z])0*(?=\d)", " ", name, count=1)
    if ra is None or dec is None:
        raise InputError(
            f"the catalogue has no place for {designation}: no such object was found again in the sky"
        )
    ours = f"M {int(messier)}" if messier and kind != "Dup" else designation
    known = (
        NAMES.get(ours.replace(" ", ""))
        or NAMES.get(designation)
        or tuple(common.split(",")[:1] if common else ())
    )
    names = dict.fromkeys((ours, designation, *known[:1]))
    return DeepSkyObject(tuple(printable(name, 60) for name in names), math.degrees(ra), math.degrees(dec))


def _unknown(words: str, text: str) -> str:
    shown = printable(text, 40)
    match = _DESIGNATION.fullmatch(_lowered(text))
    if match is not None:
        prefix = _parts(match)[0]
        last = _LAST.get(prefix)
        upto = f", which goes from {prefix.upper()} 1 to {prefix.upper()} {last}" if last else ""
        return f"'{shown}' is not in the catalogue{upto}; {_EXAMPLE}"
    whole, short = _names()
    like = get_close_matches(words, [*whole, *short], n=1, cutoff=0.75)
    meant = f"did you mean {_titled(like[0])}?" if like else _EXAMPLE
    return f"no catalogue object is called '{shown}'; {meant}"
