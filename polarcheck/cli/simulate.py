"""``polarcheck simulate``."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import simulate
from polarcheck.cli.clock_asking import typed_zone
from polarcheck.cli.command import command
from polarcheck.cli.going_on import start_from
from polarcheck.cli.moment_asking import check_moment, moment_asked
from polarcheck.cli.night_asking import book_in
from polarcheck.cli.output import tell, warn
from polarcheck.cli.parsing import pair, parsed
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import found_rig, read_rig_option
from polarcheck.cli.turned_asking import TurnedOption, turns_said
from polarcheck.constants import FRAME_NOISE_PX
from polarcheck.errors import InputError
from polarcheck.printable import printable
from polarcheck.site import parse_site
from polarcheck.writing import NIGHT_FILE

if TYPE_CHECKING:
    from polarcheck.rig import Rig

__all__ = ["simulate_command"]


@command
def simulate_command(
    *,
    folder: Annotated[
        Path, typer.Argument(help="Where to write the frames and truth.json.", metavar="FOLDER")
    ],
    error: Annotated[
        str | None,
        typer.Option(help="Axis minus pole, arcmin: azimuth about the vertical, altitude.", metavar="AZ,ALT"),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(help="Time of the first frame, UTC, such as 2026-11-14T21:10:00.", metavar="TIME"),
    ] = None,
    after: Annotated[
        Path | None,
        typer.Option(
            help="Instead of --error and --at: frames after a turn of the knobs that this result, or the night of this "
            "folder, was corrected with.",
            metavar="RESULT.json",
        ),
    ] = None,
    turned: TurnedOption = None,
    take: Annotated[
        str | None,
        typer.Option(
            help="With --after: turns in right ascension from the last frame, west positive; else as correct asks.",
            metavar="DEG,DEG,...",
        ),
    ] = None,
    site: Annotated[
        str | None,
        typer.Option(help="Latitude north and longitude east positive, degrees.", metavar="LAT,LON[,HEIGHT]"),
    ] = None,
    rig: Annotated[
        Path | None, typer.Option(help="Rig file: focal length, camera, site.", metavar="FILE.toml")
    ] = None,
    pole: Annotated[
        Literal["refracted", "true"], typer.Option(help="What the error refers to.")
    ] = "refracted",
    frames: Annotated[int, typer.Option(help="How many frames.", min=1, max=5000)] = 7,
    declination: Annotated[float | None, typer.Option(help="Where the camera looks.", metavar="DEG")] = None,
    angles: Annotated[
        str | None,
        typer.Option(help="Axis angles, one a frame, west positive: -30,0,30.", metavar="DEG,DEG,..."),
    ] = None,
    noise_px: Annotated[
        float, typer.Option(help="Pointing noise of a frame, per coordinate.", metavar="PX")
    ] = FRAME_NOISE_PX,
    tracked: Annotated[
        bool, typer.Option("--tracked", help="The mount only tracks, unguided, on one field.")
    ] = False,
    mirrored: Annotated[bool, typer.Option("--mirrored", help="The camera sees the sky mirrored.")] = False,
    seed: Annotated[int, typer.Option(help="Of the noise; the same seed gives the same frames.", min=0)] = 0,
) -> None:
    """Write solved frames of a mount with a known axis error: practice without a sky.

    With --after a whole evening is practised: the frames that correct asks for after a turn of knobs whose gains, play
    and tilt follow from the seed and stay hidden in truth.json.

    Example: polarcheck simulate practice/ --error 23.4,-11.8 --site 47.3,11.2 --at 2026-11-14T21:10:00
    """
    if after is not None:
        _after(folder, after, turned, take, rig, seed)
        return
    if error is None or at is None or turned is not None or take is not None:
        raise typer.BadParameter(
            "give --error AZ,ALT and --at TIME, or --after RESULT.json with --turned", param_hint="--error"
        )
    error_arcmin = parsed("--error", error, pair)
    check_moment(at)
    axis_angles = None if angles is None else parsed("--angles", angles, _angles)
    rig_file = read_rig_option(rig)
    place = None if site is None else parsed("--site", site, parse_site)
    place = place or (rig_file.site if rig_file else None)
    if place is None:
        raise typer.BadParameter("give --site, or a rig file with a site", param_hint="--site")
    utc = moment_asked(at, typed_zone(None, rig_file), place)
    paths = simulate.simulate_frames(
        folder,
        error_arcmin=error_arcmin,
        site=place,
        utc=utc,
        sweep=simulate.Sweep(axis_angles, declination, frames, tracking_only=tracked),
        setup=simulate.Setup(_camera(rig_file, mirrored), noise_px, seed, pole),
        progress=progress_line("writing frame"),
    )
    book = book_in(folder, None)
    if book is not None and book.path.exists():
        warn(book.write(book.moved("frames of another practice were written into this folder")))
    written = "1 frame" if len(paths) == 1 else f"{len(paths)} frames"
    tell(f"{written} and truth.json written.\nMeasure them: polarcheck measure {printable(folder)}")


def _after(
    folder: Path, result: Path, turned: str | None, take: str | None, rig: Path | None, seed: int
) -> None:
    """Frames after a turn, on a mount whose knobs are hidden."""
    said = turns_said(turned if turned is not None else "0,0")
    places = None if take is None else parsed("--take", take, _angles)
    start = start_from(result)
    before = start.before
    rig_file = found_rig(rig, [result])
    made = start.turns(said, rig_file) or (0.0, 0.0)
    paths = simulate.simulate_after(
        folder,
        before,
        made,
        rig=rig_file,
        turns_deg=places,
        seed=seed,
        progress=progress_line("writing frame"),
    )
    written = "1 frame" if len(paths) == 1 else f"{len(paths)} frames"
    given = turned if turned is not None else "0,0"
    named = result / NIGHT_FILE if result.is_dir() else result
    tell(
        f"{written} and truth.json written.\nFollow them: polarcheck follow {printable(named)} "
        f"{printable(folder)} --turned {printable(given)}"
    )


def _camera(rig: Rig | None, mirrored: bool) -> simulate.Camera:
    known: dict[str, float | None] = {}
    if rig is not None:
        known = {
            "width_px": rig.camera.width_px,
            "height_px": rig.camera.height_px,
            "pixel_scale_arcsec": rig.pixel_scale_arcsec,
        }
    return simulate.Camera(mirrored=mirrored, **{name: value for name, value in known.items() if value})  # type: ignore[arg-type]


def _angles(text: str) -> list[float]:
    with suppress(ValueError):
        angles = [float(part) for part in text.split(",")]
        if all(abs(angle) <= 360 for angle in angles):
            return angles
    raise InputError(f"{printable(text)!r} is not a list of angles such as -30,0,30")
