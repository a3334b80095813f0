"""``polarcheck watch``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from polarcheck import frames, night, page, report, solving, watch
from polarcheck.cli.alignment_asking import PlaceOptions
from polarcheck.cli.clock_asking import ClockAheadOption, ZoneOption, ahead_s, zone_of
from polarcheck.cli.command import command
from polarcheck.cli.ending import say
from polarcheck.cli.keys import keys_heard, may_hear
from polarcheck.cli.optional_value import with_optional_values
from polarcheck.cli.output import JsonOption, warn
from polarcheck.cli.progress import progress_line
from polarcheck.cli.rig_asking import RigOption, found_rig
from polarcheck.cli.solver_asking import SolveOption, solving_meanwhile
from polarcheck.cli.watch_lines import Lines
from polarcheck.cli.watch_loop import Output, Watching
from polarcheck.cli.watch_screen import Screen, can_draw
from polarcheck.errors import InputError
from polarcheck.printable import printable

if TYPE_CHECKING:
    from polarcheck.page import PageServer
    from polarcheck.rig import Rig
    from polarcheck.watch import Answer, WakeUp

__all__ = ["COMMAND", "watch_command"]

COMMAND = with_optional_values(page=("here", "lan"))
"""How the words of this command are read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShowingOptions:
    """Where and how the evening is shown."""

    theme: Annotated[
        Literal["red", "plain", "none"],
        typer.Option(help="Of the screen: dark red, the terminal's own colours, or no colour at all."),
    ] = "red"
    sound: Annotated[
        bool, typer.Option("--sound", help="Ring: once nearer, twice a frame refused, thrice done.")
    ] = False
    page: Annotated[
        Literal["here", "lan"] | None,
        typer.Option(help="Serve a page, too: for this machine alone, or lan: for a phone beside the knobs."),
    ] = None
    as_json: JsonOption = False


@command
def watch_command(
    *,
    folder: Annotated[Path, typer.Argument(help="Where the frames go.", metavar="FOLDER")],
    place: PlaceOptions,
    rig: RigOption = None,
    pole: Annotated[
        Literal["refracted", "true"], typer.Option(help="What the error refers to.")
    ] = "refracted",
    goal: Annotated[
        float | None,
        typer.Option(
            help="Total error that is near enough; else the rig file's, else 0.5 or what a hand can do.",
            metavar="ARCMIN",
            min=0.01,
            max=600,
        ),
    ] = None,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into subfolders too.")] = False,
    clock_ahead: ClockAheadOption = None,
    zone: ZoneOption = None,
    solve: SolveOption = False,
    until_done: Annotated[
        bool,
        typer.Option("--until-done", help="Leave when the advice is to stop; else the interrupt key leaves."),
    ] = False,
    showing: ShowingOptions,
) -> None:
    """Follow the folder through the evening: frames as they come, and what to do now.

    Takes each solved frame once it is whole, measures the sweep, tells which knob to turn how far, follows the axis
    after each turn, and says when to stop. What happens is kept in the frames' folder; started again, it goes on.

    Example: polarcheck watch frames/ --rig rig.toml
    """
    ahead = ahead_s(clock_ahead)
    if not folder.is_dir():
        raise InputError(
            f"there is no folder '{printable(folder)}'; make it, or name the one that frames go to"
        )
    rig_file = found_rig(rig, [folder])
    clock = frames.Clock(ahead, zone_of(zone, rig_file))
    wishes = watch.Wishes(rig_file, place.conditions(rig_file), pole, goal)
    watching = _watching(folder, rig_file, wishes, watch.Arrivals(folder, recursive=recursive, clock=clock))
    watching.until_done = until_done
    with (
        watch.WakeUp(folder, recursive=recursive, ignored=night.NIGHT_FILE) as wake_up,
        solving_meanwhile(
            solve, folder, rig_file, clock, recursive=recursive, told=_unsolved_into(watching, wake_up)
        ) as solver,
        watch.StarReader(wake_up.tell) as watching.stars,
    ):
        watching.solves = solver is not None
        _show(watching, wake_up, showing)


def _unsolved_into(watching: Watching, wake_up: WakeUp) -> Callable[[solving.SolvedSet], None]:
    """Return what hands on why frames could not be solved."""

    def told(solved: solving.SolvedSet) -> None:
        for frame in solved.some(solving.State.UNSOLVED):
            watching.unsolved.put((frame.path, frame.reason or "could not be solved"))
        wake_up.tell()

    return told


def _watching(folder: Path, rig: Rig | None, wishes: watch.Wishes, arrivals: watch.Arrivals) -> Watching:
    account, notices = watch.night_so_far(night.NightLog(folder), datetime.now(UTC).isoformat()[:19])
    warn(notices)
    book = night.NightBook(folder, rig)
    return Watching(folder=folder, arrivals=arrivals, evening=watch.Evening(book, wishes, account), book=book)


def _show(watching: Watching, wake_up: WakeUp, showing: ShowingOptions) -> None:
    def answered(answer: Answer) -> None:
        watching.answers.put(answer)
        wake_up.tell()

    def pressed(key: str) -> None:
        watching.keys.put(key)
        wake_up.tell()

    with _page(showing, answered) as server:
        if server is not None:
            watching.listeners.append(server.publish)
        watching.output = _output(showing, server)
        with keys_heard(pressed if isinstance(watching.output, Screen) else None):
            watching.run(wake_up, progress_line())


@contextmanager
def _page(showing: ShowingOptions, answered: Callable[[Answer], None]) -> Iterator[PageServer | None]:
    if showing.page is None:
        yield None
        return
    with page.PageServer(answered, lan=showing.page == "lan") as server:
        yield server


def _output(showing: ShowingOptions, server: PageServer | None) -> Output:
    if showing.as_json or not can_draw():
        for line in (*_page_code(server), *_page_addresses(server)):
            say(line)
        return Lines(showing.as_json)
    note = f"Page: {server.addresses[0]} (p: its code)" if server and server.addresses else ""
    return Screen(
        showing.theme,
        sound=showing.sound,
        has_keys=may_hear(),
        code=_page_code(server),
        addresses=_page_addresses(server),
        note=note,
    )


def _page_code(server: PageServer | None) -> list[str]:
    """The page's square code, where a phone is to come."""
    if server is None or not server.addresses or "127.0.0.1" in server.addresses[0]:
        return []
    return page.qr_lines(server.addresses[0], columns=report.line_width())


def _page_addresses(server: PageServer | None) -> list[str]:
    """Where the page is."""
    if server is None:
        return []
    if not server.addresses:
        return ["The page has no address: this machine is in no local network."]
    return [f"Page: {address}" for address in server.addresses[:3]]
