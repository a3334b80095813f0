"""Commands run in this process, what must hold for whatever they say, and small frames to run them on."""

from __future__ import annotations

import atexit
import json
import re
import shutil
import tempfile
import unicodedata
from pathlib import Path
from typing import Any

from astropy.io import fits
from typer.testing import CliRunner, Result

from polarcheck.cli.app import app
from polarcheck.simulate import Camera, Setup, Sweep, simulate_frames
from polarcheck.site import Site
from tests.helpers import utc_date

NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)
EVENING = tuple(utc_date(2026, 11, 14, 21, 10)[0])
ERROR = (23.4, -11.8)
SMALL = Camera(width_px=120, height_px=90, pixel_scale_arcsec=20.0)


def _copied_samples() -> Path:
    """A copy of the sample frames without the night that anybody may have kept beside them."""
    folder = Path(tempfile.mkdtemp(prefix="polarcheck-tests-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    original = Path(__file__).parents[1] / "sample_frames"
    ignored = shutil.ignore_patterns("polarcheck-night.jsonl", "__pycache__")
    return shutil.copytree(original, folder / "sample_frames", ignore=ignored)


SAMPLES = _copied_samples()

# general categories (Unicode Standard, table 4-4) that steer a terminal or a page, or are not characters at all
STEERING = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def run(*arguments: object) -> Result:
    """Run `polarcheck` with arguments; check what must hold for any command line and any input."""
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1, 2), result.output
    for text in (result.stdout, result.stderr):
        assert not steering(text), text
        assert "Traceback" not in text
        assert "a fault of the program" not in text, text
    return result


def steering(text: str) -> set[str]:
    """Characters in a text, other than line breaks, that could steer what shows it."""
    return {c for c in text if c != "\n" and unicodedata.category(c) in STEERING}


def refused(*arguments: object) -> str:
    """Run a command that gives no honest result; return what it says, on one line."""
    result = run(*arguments)
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("polarcheck: ")
    return re.sub(r"\s+", " ", result.stderr)


def wrong(*arguments: object) -> str:
    """Run a command line that is wrong; return what it says, on one line."""
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    return re.sub(r"[\s│]+", " ", result.stderr)


def answered(*arguments: object) -> tuple[dict[str, Any], str]:
    """Run a command that gives a result; return its JSON and its warnings."""
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return strict_json(result.stdout), re.sub(r"\s+", " ", result.stderr)


def strict_json(text: str) -> Any:
    """Read JSON as RFC 8259 has it: NaN and Infinity are not in it (section 6)."""

    def refuse(constant: str) -> Any:
        raise AssertionError(f"{constant} is not JSON")

    return json.loads(text, parse_constant=refuse)


def texts(value: Any) -> list[str]:
    """All strings in a JSON value."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for pair in value.items() for part in pair for text in texts(part)]
    return [text for part in value for text in texts(part)] if isinstance(value, list) else []


def simulated(folder: Path, **settings: Any) -> list[Path]:
    """`simulate_frames` with the fields of its sweep and its setup said one by one."""
    sweep, setup = (
        {name: settings.pop(name) for name in list(settings) if name in kind.__dataclass_fields__}
        for kind in (Sweep, Setup)
    )
    return simulate_frames(folder, **settings, sweep=Sweep(**sweep), setup=Setup(**setup))


def frames(folder: Path, count: int = 3, **settings: Any) -> list[Path]:
    """Write small plain images of a simulated mount with an error of `ERROR`, 40 deg apart in all unless told."""
    step = 40.0 / max(count - 1, 1)
    angles = [5 + step * i for i in range(count)]
    chosen: dict[str, Any] = {"error_arcmin": ERROR, "site": NORTH, "utc": EVENING, "axis_angles_deg": angles}
    chosen |= {"camera": SMALL, "noise_px": 0.05}
    made = simulated(folder, **(chosen | settings))
    (folder / "truth.json").unlink()
    return [_plain(path) for path in made]


def _plain(path: Path) -> Path:
    """Replace a compressed image by a plain one, whose header is where hands and bytes can reach it."""
    with fits.open(path) as content:
        image = fits.PrimaryHDU(content[1].data, content[1].header)
    plain = path.with_name(path.name.removesuffix(".fz"))
    image.writeto(plain)
    path.unlink()
    return plain


def change(path: Path, **cards: Any) -> Path:
    """Change header cards (``__`` stands for ``-``); None takes one away."""
    with fits.open(path, mode="update") as content:
        for name, value in cards.items():
            keyword = name.replace("__", "-")
            if value is None:
                content[0].header.remove(keyword)
            else:
                content[0].header[keyword] = value
    return path


def overwrite(path: Path, keyword: str, card: bytes) -> Path:
    """Put 80 raw bytes in the place of a card, as damage or malice would."""
    raw = path.read_bytes()
    start = raw.index(f"{keyword:<8}=".encode("ascii"))
    assert start % 80 == 0
    assert len(card) <= 80
    path.write_bytes(raw[:start] + card.ljust(80) + raw[start + 80 :])
    return path
