"""Evenings of `watch`: how they end, how soon a frame shows, what many frames cost, what a kill leaves.

Run ``python -m tests.benchmarks.evening`` from the project's root; ``--nights N`` (nights of each kind, in this process,
frames given one by one as the folder would give them), ``--frames N`` (frames of 16 megapixels brought to a running
watch in a terminal of 80 by 24, from the last byte written to the frame's name on the screen), ``--start N`` (frames
that lie there at the start, of ``--fields`` targets, against a loop that only reads them), ``--many N`` (frames that
come, and the memory they take), ``--kills N`` (kill -9 at random moments of nights that go on); 0 leaves one out.

Nights are those of `tests.benchmarks.night`: start errors up to 3 deg, knobs up to 25 % off the rig file, backlash, a
tripod out of level, a hand that misses; one frame in ten is solved elsewhere on the sky. The user turns as the view says
and answers nothing. The last kind is `tests.running_camera`'s: the camera never stops, and all takes its time.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from astropy.io import fits

from polarcheck.cli.watch_loop import Watching
from polarcheck.frames import Frame, read_frame
from polarcheck.night import NightBook
from polarcheck.rig import read_rig
from polarcheck.watch import Arrivals, Evening, Moment, Wishes, view_of, warm_up
from tests.at_the_mount import SWEEP, AtTheMount
from tests.running_camera import RunningNight
from tests.watch_process import Script, on_a_terminal, play, watching

KINDS = ("single frames", "frame after frame", "clock set back", "copied late and twice")
RUNNING = "camera runs, in real time"
NOISE_PX = 0.1
MOST_ROUNDS = 60
LOOP_S = 8.0


@dataclass
class Played:
    """One night, played by what the view says."""

    mount: AtTheMount
    kind: str
    evening: Evening
    rng: np.random.Generator
    seconds: float = 0.0
    refused: int = 0
    places: dict[str, float] = field(default_factory=dict)
    late: list[Frame] = field(default_factory=list)

    def give(self, frame: Frame) -> None:
        """A frame comes; now and then a copy comes late, or twice."""
        self.places[frame.name] = self.mount.night.stands_deg
        if self.kind == KINDS[3] and self.rng.random() < 0.15:
            self.late.append(frame)
            return
        self.seconds += 1.0
        events = self.evening.arrived([frame], [], self.seconds)
        if self.kind == KINDS[3]:
            events += self.evening.arrived([frame], [], self.seconds)
        self.refused += sum(event.event == "refused" for event in events)  # type: ignore[attr-defined]

    def shoot(self, seconds: float = 60.0) -> None:
        self.give(self.mount.shoot(seconds, wrong=bool(self.rng.random() < 0.1)))

    def rest(self) -> None:
        """Late copies come; then nothing does for a while."""
        for frame in self.late:
            self.evening.arrived([frame], [], self.seconds)
        self.late = []
        self.evening.settled()

    def turn(self, turns: tuple[float, float]) -> None:
        """Turn the knobs; a camera that takes frame after frame sees it happen."""
        if self.kind != KINDS[1]:
            self.mount.turn(*turns)
            return
        self.shoot(LOOP_S)
        for knob in (1, 0):
            for _ in range(2):
                part = [0.0, 0.0]
                part[knob] = turns[knob] / 2
                self.mount.turn(part[0], part[1])
                self.shoot(LOOP_S)


def night(folder: Path, seed: int, kind: str) -> Played:
    """Play one."""
    mount = AtTheMount(folder, seed, NOISE_PX)
    played = Played(mount, kind, mount.evening(), np.random.default_rng(seed))
    while played.evening.finding is None:
        for turn in (*SWEEP, 75.0):
            mount.night.turn_to(turn)
            played.shoot()
        played.rest()
    turned = None
    for _ in range(MOST_ROUNDS):
        finding = played.evening.finding
        assert finding is not None
        view = view_of(played.evening, Moment(1, "2026-11-15T00:00:00Z", "frames"))
        if view.now.action == "stop":
            break
        place = played.places.get(view.now.frames_from or "", mount.night.stands_deg)
        if view.now.action == "turn" and turned is not finding.correction:
            turned = finding.correction
            played.turn(mount.told(played.evening))
            if kind == KINDS[2]:
                mount.set_clock(-float(played.rng.uniform(0, 600)))
        for turn in view.now.frames_deg or [0.0]:
            mount.night.turn_to(place + turn)
            played.shoot(LOOP_S if kind == KINDS[1] else 60.0)
        if kind == KINDS[1]:
            for _ in range(5):
                played.shoot(LOOP_S)
        played.rest()
    return played


@dataclass
class Ended:
    """How a night ended."""

    left: float
    said: float
    sigma: float
    turns: int
    frames: int
    refused: int
    minutes: float
    is_over: bool

    @classmethod
    def of(cls, mount: AtTheMount, evening: Evening, refused: int, seconds: float, is_over: bool) -> Ended:
        assert evening.finding is not None
        error = evening.finding.alignment.error
        turns = max(mount.night.turns)
        return cls(
            left=mount.error_arcmin,
            said=error.total_arcmin,
            sigma=error.total_sigma_arcmin,
            turns=turns,
            frames=mount.count,
            refused=refused,
            minutes=seconds / 60,
            is_over=is_over,
        )


def ended(folder: Path, seed: int, kind: str) -> Ended:
    """Play a night of a kind to its end."""
    if kind == RUNNING:
        one = RunningNight(folder, seed, NOISE_PX).play()
        return Ended.of(one.mount, one.evening, one.refused, one.seconds, not one.gave_up)
    played = night(folder, seed, kind)
    finding = played.evening.finding
    is_over = finding is not None and finding.action == "stop"
    return Ended.of(played.mount, played.evening, played.refused, 0.0, is_over)


def tell_nights(count: int, first: int, kinds: Sequence[str]) -> None:
    """How nights of each kind end."""
    for kind in kinds:
        nights = []
        for seed in range(first, first + count):
            with tempfile.TemporaryDirectory() as folder:
                nights.append(ended(Path(folder), seed, kind))
        left = np.array([one.left for one in nights])
        off = np.array([abs(one.left - one.said) for one in nights])
        spread = ", ".join(f"{p} %: {np.percentile(left, p):.2f}" for p in (50, 95, 100))
        print(
            f"{kind}, {count} nights: under 0.5 arcmin {np.mean(left < 0.5):.0%}, under 0.6 {np.mean(left < 0.6):.0%}; "
            f"left, arcmin: {spread}; off what the screen says, arcmin, 95 % and most: {np.percentile(off, 95):.2f}, "
            f"{off.max():.2f}; without an end: {sum(not one.is_over for one in nights)}; frames, median: "
            f"{np.median([one.frames for one in nights]):.0f}; turns of one knob, median and most: "
            f"{np.median([one.turns for one in nights]):.0f}, {max(one.turns for one in nights)}; refused: "
            f"{sum(one.refused for one in nights)}; minutes, median: {np.median([one.minutes for one in nights]):.0f}",
            flush=True,
        )


def large(small: Path, target: Path, pixels: bytes) -> None:
    """Bring a frame of 16 megapixels: the header of a small one, its image behind it, in pieces of 1 MB."""
    header = fits.getheader(small)
    header["NAXIS"], header["BITPIX"] = 2, 16
    header.set("NAXIS1", 4656, after="NAXIS")
    header.set("NAXIS2", 3520, after="NAXIS1")
    for name in ("IMAGEW", "IMAGEH"):
        del header[name]
    for i in (1, 2):  # the same sky on more and smaller pixels
        size = (4656, 3520)[i - 1] / (1280, 960)[i - 1]
        header[f"CRPIX{i}"] = header[f"CRPIX{i}"] * size
        for j in (1, 2):
            header[f"CD{j}_{i}"] = header[f"CD{j}_{i}"] / size
    with target.open("wb") as file:
        file.write(header.tostring().encode("ascii"))
        for start in range(0, len(pixels), 1 << 20):
            file.write(pixels[start : start + (1 << 20)])


def tell_latency(count: int) -> None:
    """From the last byte of a frame to its name on the screen of a running watch."""
    pixels = np.random.default_rng(1).integers(0, 2**15, 4656 * 3520).astype(">i2").tobytes()
    pixels += bytes(-len(pixels) % 2880)
    waits: list[float] = []
    with tempfile.TemporaryDirectory() as place:
        script = Script(Path(place), 1)
        with on_a_terminal(script.folder, script.rig) as terminal:
            shown = terminal.shown
            shown.wait_for("Frames: none yet")
            for number in range(count):
                # a sweep of 12 places, then frame after frame of a target
                script.mount.night.turn_to(5.0 * min(number, 11))
                if number == 12:
                    script.mount.decline(20.0)
                small = script.mount.shoot(60).path
                large(small, script.folder / small.name, pixels)
                done = time.monotonic()
                name = f"{small.name}"
                while name not in shown.text:
                    time.sleep(0.002)
                    assert time.monotonic() - done < 20, name
                waits.append(time.monotonic() - done)
                if number > 3:
                    (script.folder / small.name).unlink()
                shown.text = ""
                time.sleep(0.3)
    spread = ", ".join(f"{p} %: {np.percentile(waits, p):.2f}" for p in (5, 50, 95, 100))
    slowest = ", ".join(f"number {i + 1}: {waits[i]:.2f}" for i in np.argsort(waits)[:-6:-1])
    print(f"slowest, s: {slowest}")
    print(f"{count} frames of 4656 x 3520 px, on the screen after, s: {spread}", flush=True)


class Silent:
    """Shows nothing."""

    def __getattr__(self, name: str) -> object:
        return lambda *_: None


def filled(place: Path, count: int, fields: int) -> tuple[Path, Path]:
    """A folder with a sweep and frames of targets, as many of each, and its rig file."""
    script = Script(place, 1)
    for turn in (*SWEEP, 75.0):
        script.mount.night.turn_to(turn)
        script.mount.shoot(60)
    script.mount.decline(20)
    for number in range(count - 5):
        if number and number * fields // (count - 5) != (number - 1) * fields // (count - 5):
            script.mount.decline(12)
            script.mount.further(-11)
        script.mount.shoot(20)
    return place / "made", script.rig


def started(folder: Path, rig: Path) -> Evening:
    """The start of a watch, but for what it loads and shows."""
    known = read_rig(rig)
    book = NightBook(folder, known)
    evening = Evening(book, Wishes(rig=known))
    watch = Watching(folder=folder, arrivals=Arrivals(folder), evening=evening, book=book, output=Silent())  # type: ignore[arg-type]
    watch._look(is_start=True)
    return evening


def spent(work: Callable[[], object]) -> np.ndarray:
    """Seconds of the processor, and of the clock, that some work takes."""
    before = time.process_time(), time.perf_counter()
    work()
    return np.subtract((time.process_time(), time.perf_counter()), before)


def tell_start(count: int, fields: int, times: int) -> None:
    """Frames that lie there at the start, against a loop that only reads them, before it and after."""
    with tempfile.TemporaryDirectory() as place:
        folder, rig = filled(Path(place), count, fields)
        paths = sorted(folder.glob("*.fits"))
        read_frame(paths[0])  # imports and tables are loaded once
        warm_up()
        time.sleep(4)  # then all files are old enough to be read at the first look
        plain, whole = [spent(lambda: [read_frame(path) for path in paths])], []
        for _ in range(times):
            whole.append(spent(lambda: started(folder, rig)))
            plain.append(spent(lambda: [read_frame(path) for path in paths]))
        evening = started(folder, rig)
        assert evening.counted == 5
        assert evening.of_target > count / 2  # they drift out of their field, and begin another
    ratios = [2 * whole[i] / (plain[i] + plain[i + 1]) for i in range(times)]
    cpu, clock = np.median(ratios, axis=0)
    print(
        f"{count} frames at the start, of {fields} targets: {np.median(whole, axis=0)[0]:.2f} s of the processor, "
        f"{cpu:.2f} times plain reading (each time: {', '.join(f'{one[0]:.2f}' for one in ratios)}); by the clock "
        f"{np.median(whole, axis=0)[1]:.2f} s, {clock:.2f} times",
        flush=True,
    )


def tell_memory(count: int) -> None:
    """Frames that come while it runs, and the memory they take."""
    with tempfile.TemporaryDirectory() as place:
        mount = AtTheMount(Path(place), 1)
        evening = mount.evening()
        arrivals = Arrivals(mount.night.folder)
        used = []
        for number in range(count):
            if number < 5:
                mount.night.turn_to(15.0 * number)
            elif number % 500 == 5:
                mount.decline(20.0 if number % 1000 == 5 else -15.0)
            mount.shoot(5)
            if number % 50 == 49:
                time.sleep(0.1)
                arrivals.look()
                time.sleep(0.1)
                evening.arrived(arrivals.look().frames, [], float(number))
                evening.settled()
            if (number + 1) % (count // 5) == 0:
                used.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    said = ", ".join(f"{(i + 1) * count // 5}: {mb:.0f}" for i, mb in enumerate(used))
    print(f"memory after so many frames, MB: {said}", flush=True)


def tell_kills(count: int) -> None:
    """Kill -9 at random moments: the file reads, at most its last line is damaged, and the night goes on."""
    rng = random.Random(1)
    damaged = kills = nights = 0
    left = []
    while kills < count:
        with tempfile.TemporaryDirectory() as place:
            script = Script(Path(place), nights + 1)
            nights += 1
            pending = script.take([0.0, 20.0, 40.0, 60.0])
            for path in pending:
                with watching(script.folder, script.rig) as watch:
                    script.bring(path)
                    for _ in range(2):
                        time.sleep(rng.uniform(0.0, 3.5))
                    watch.kill()
                kills += 1
            with watching(script.folder, script.rig) as watch:
                play(script, watch, swept=True)
                watch.interrupt()
            record = watch.log.read()
            damaged += len(record.damaged)
            left.append(script.mount.error_arcmin)
    print(
        f"{kills} kills in {nights} nights: {damaged} damaged lines; every night went on; left, arcmin, most: "
        f"{max(left):.2f}",
        flush=True,
    )


def main() -> None:
    """Print all that was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=25)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--kinds", default="0,1,2,3,4", help="which kinds of nights; 4: in real time")
    parser.add_argument("--frames", type=int, default=100)
    parser.add_argument("--start", type=int, default=2000)
    parser.add_argument(
        "--fields", type=int, default=1, help="targets of the frames that lie there at the start"
    )
    parser.add_argument("--times", type=int, default=5, help="how often the start is measured")
    parser.add_argument("--many", type=int, default=5000)
    parser.add_argument("--kills", type=int, default=300)
    asked = parser.parse_args()
    if asked.nights:
        kinds = [*KINDS, RUNNING]
        tell_nights(asked.nights, asked.first, [kinds[int(i)] for i in asked.kinds.split(",")])
    if asked.frames:
        tell_latency(asked.frames)
    if asked.start:
        tell_start(asked.start, asked.fields, asked.times)
    if asked.many:
        tell_memory(asked.many)
    if asked.kills:
        tell_kills(asked.kills)


if __name__ == "__main__":
    main()
