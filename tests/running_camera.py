"""A camera that takes frame after frame all evening, and someone who does at the knobs what the screen says.

Time runs on while hands are on the knobs: a turn takes its seconds, an exposure shows its middle, and what moved during
it is noise, or a frame that no solver takes. The mount's worm swings. All of it is common practice, no source: exposures
of 5 to 30 s with 2 s between, 1 to 4 s for the solver, 3 to 15 s until someone turns, 5 to 40 s for a knob in one to
four grips, 3 to 60 s between the knobs.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from polarcheck.constants import ARCSEC
from polarcheck.frames import Frame, Problem, ProblemKind, read_frame
from polarcheck.simulate import by_hand, noisy_attitudes
from polarcheck.vectors import rotation_matrix
from polarcheck.watch import Evening, Moment, view_of
from tests.at_the_mount import CAMERA, SWEEP, AtTheMount

__all__ = ["RunningNight"]

_STEP_S = 0.5
_BETWEEN_S = 2.0  # exposures
_WORM_S = 480.0
_UNSOLVED_PX = 120.0  # of a trail, from which a solver gives up; common practice, no source
_TRAIL_NOISE = 0.05  # of a trail that is noise of the solution
_PATIENCE_S = 600.0  # without news, after which someone gives up
_LONGEST_S = 3 * 3600.0


class RunningNight:
    """One night.

    Parameters
    ----------
    folder : pathlib.Path
    seed : int
    noise_px : float
    wrong, lost : float
        Shares of frames solved elsewhere, and not solved at all.

    Attributes
    ----------
    gave_up : bool
        Whether the screen left someone standing.
    """

    def __init__(
        self, folder: Path, seed: int, noise_px: float = 0.1, wrong: float = 0.05, lost: float = 0.05
    ) -> None:
        self.mount = AtTheMount(folder, seed, noise_px)
        self.rng = np.random.default_rng([seed, 7])
        self.evening: Evening = self.mount.evening()
        self.exposure_s = float(self.rng.uniform(5, 30))
        self.worm_arcsec = float(self.rng.uniform(0, 15))
        self.wrong, self.lost = wrong, lost
        self.seconds = self.begun = self.rested = 0.0
        self.middle, self.ends = self.mount.night.attitude, [self.mount.night.attitude] * 2
        self.middle_utc = self.mount.night.utc
        self.middle_deg, self.places = 0.0, dict[str, float]()
        self.coming: list[tuple[float, Frame | Problem]] = []
        self.actions = self._acting()
        self.gave_up = self.over = False
        self.asked: tuple[object, tuple[int, ...]] = (None, ())
        self.log: list[str] = []
        self.refused = self.followed = 0
        self.done: tuple[int, tuple[float, float]] = (-1, (0.0, 0.0))

    def play(self) -> RunningNight:
        """Until the screen says stop, or someone gives up."""
        while not self.over and not self.gave_up:
            next(self.actions)
        return self

    @property
    def view(self) -> object:
        return view_of(self.evening, Moment(1, "2026-11-15T00:00:00Z", "frames"))

    # time

    def _pass(self, seconds: float) -> None:
        """Let time pass: the camera goes on, and so does the watch."""
        end = self.seconds + seconds
        while self.seconds < end - 1e-9:
            step = min(_STEP_S, end - self.seconds)
            worm = [
                self.worm_arcsec * np.sin(2 * np.pi * t / _WORM_S)
                for t in (self.seconds, self.seconds + step)
            ]
            self.mount.night.wait(step)
            self.mount.night.turn_west(float(worm[1] - worm[0]) * ARCSEC)
            self.seconds += step
            self._expose(step)
            self._look()

    def _expose(self, step: float) -> None:
        into = self.seconds - self.begun
        attitude = self.mount.night.attitude
        if into - step <= 0 < into:
            self.ends = [attitude, attitude]
        if into - step < self.exposure_s / 2 <= into:
            self.middle, self.middle_utc = attitude, self.mount.night.utc
            self.middle_deg = self.mount.night.stands_deg
        if into - step < self.exposure_s <= into:
            self.ends[1] = attitude
            self.coming.append((self.seconds + float(self.rng.uniform(1, 4)), self._frame()))
            self.begun = self.seconds + _BETWEEN_S

    def _frame(self) -> Frame | Problem:
        """What the solver makes of the exposure that has just ended."""
        night = self.mount.night
        self.mount.count += 1
        name = f"frame_{self.mount.count:03d}.fits"
        self.places[name] = self.middle_deg
        still = self._tracked(self.exposure_s) @ self.ends[0]
        cosine = np.clip((np.trace(still.T @ self.ends[1]) - 1) / 2, -1, 1)
        trail_px = float(np.arccos(cosine)) / (CAMERA.pixel_scale_arcsec * ARCSEC)
        if trail_px > _UNSOLVED_PX or self.rng.random() < self.lost:
            return Problem(
                night.folder / name, name, "is not solved", ProblemKind.NOT_SOLVED, self.middle_utc
            )
        noise = float(np.hypot(night.noise_px, _TRAIL_NOISE * trail_px))
        seen = noisy_attitudes(self.middle[None], CAMERA, noise, night.rng)[0]
        if self.rng.random() < self.wrong:
            seen = rotation_matrix(np.array([0.6, 0.0, 0.8]), 0.7) @ seen
        now, night.utc = night.utc, self.middle_utc
        path = night.write(night.folder / name, seen, exposure_s=self.exposure_s)
        night.utc = now
        return read_frame(path)

    def _tracked(self, seconds: float) -> np.ndarray:
        night = self.mount.night
        return rotation_matrix(night.mount.axis, (-1 if night.mount.north else 1) * 7.2921e-5 * seconds)

    def _look(self) -> None:
        """What the watch does meanwhile."""
        due = [one for at, one in self.coming if at <= self.seconds]
        self.coming = [(at, one) for at, one in self.coming if at > self.seconds]
        frames = [one for one in due if isinstance(one, Frame)]
        problems = [one for one in due if isinstance(one, Problem)]
        events = self.evening.arrived(frames, problems, self.seconds) if due else []
        if self.evening.due_s(self.seconds) == 0.0:
            events = [*events, *self.evening.settled()]
        for event in events:
            self.refused += event.event == "refused"  # type: ignore[attr-defined]
            self.followed += event.event == "followed"  # type: ignore[attr-defined]
            self._note(f"-- {event.event} {self._of(event)}")  # type: ignore[attr-defined]
        if due and self.evening.last is not None and self.evening.last.counted:
            self.rested = self.seconds  # something goes on
        if due and self.evening.last is not None:
            self._note(f"{self.evening.last.name}: {self.evening.last.reason}")

    def _of(self, event: object) -> str:
        turned, result = getattr(event, "turned", None), getattr(event, "result", None)
        error = getattr(result, "error", None)
        advice = getattr(result, "next", None)
        if error is not None:
            return f"{error.total_arcmin:.2f} +- {error.total_sigma_arcmin:.2f} (true {self.mount.error_arcmin:.2f})"
        if advice is not None:
            return f"{advice.action} {[f.turn_deg for f in advice.frames]} {self.told()}"
        return f"{turned}"

    def told(self) -> tuple[float, float]:
        """What the advice asks for."""
        return self.mount.told(self.evening) if self.evening.finding else (0.0, 0.0)

    def _note(self, text: str) -> None:
        self.log.append(f"{self.seconds:7.1f} {text}")

    # hands

    def _acting(self) -> Iterator[None]:
        while self.evening.finding is None:
            for place in (*SWEEP, 75.0):
                self._slew(place)
                self._pass(2 * (self.exposure_s + _BETWEEN_S) + 5)
                yield
        while self.seconds < _LONGEST_S:
            now = self.view.now  # type: ignore[attr-defined]
            finding = self.evening.finding
            if now.action == "stop":
                self._pass(3 * (self.exposure_s + _BETWEEN_S))  # nobody runs away at once
                if self.view.now.action == "stop":  # type: ignore[attr-defined]
                    self.over = True
            elif now.action == "turn" and self._is_another_turn():
                yield from self._turn([(0 if one.knob == "azimuth" else 1) for one in now.knobs])
                self._wait()
            elif now.action == "frames" and now.frames_deg and self._is_news(now.frames_deg):
                here = self.places.get(now.frames_from or "", self.mount.night.stands_deg)
                self._slew(here + now.frames_deg[0])
            else:
                self._pass(1.0)
            is_tired = self.seconds - self.rested > _PATIENCE_S and self._is_same(finding)
            self.gave_up = is_tired and not self.over
            yield
        self.gave_up = True

    def _is_news(self, places: list[float]) -> bool:
        """Whether these places are not the ones that were gone to already."""
        asked = (self.evening.finding, tuple(round(place) for place in places))
        if asked[0] is self.asked[0] and asked[1] == self.asked[1]:
            return False
        self.asked = asked
        return True

    def _is_another_turn(self) -> bool:
        """Whether it is not the turn that was just made, asked for with a little more or less by a sweep that grew."""
        told, (followed, before) = self.told(), self.done
        self.done = (self.followed, told)
        small = 0.03 + 0.1 * np.hypot(*before)
        return followed != self.followed or bool(np.hypot(told[0] - before[0], told[1] - before[1]) > small)

    def _wait(self) -> None:
        self.rested = self.seconds

    def _is_same(self, finding: object) -> bool:
        if finding is not self.evening.finding:
            self.rested = self.seconds
            return False
        return True

    def _turn(self, knobs: list[int]) -> Iterator[None]:
        told = self.told()
        self._pass(float(self.rng.uniform(3, 15)))
        for knob in knobs:
            if told[knob]:
                yield from self._turn_knob(knob, told[knob])
                self._pass(
                    float(self.rng.uniform(20, 60) if self.rng.random() < 0.2 else self.rng.uniform(3, 15))
                )

    def _turn_knob(self, knob: int, turns: float) -> Iterator[None]:
        made = by_hand(turns, self.mount.night.rng)
        self._note(f"hands: knob {knob} by {turns:.3f}")
        took, grips = float(self.rng.uniform(5, 40)), int(self.rng.integers(1, 5))
        steps = max(int(took / grips / _STEP_S), 1)
        for _ in range(grips):
            for _ in range(steps):
                mount = self.mount.night.mount
                self.mount.night.mount, moved = mount.turned(knob, made / grips / steps)
                self.mount.night.attitude = moved @ self.mount.night.attitude
                self._pass(_STEP_S)
            self._pass(float(self.rng.uniform(0.5, 3)))
            yield
        self.mount.night.turns[knob] += 1
        self._note("hands off")

    def _slew(self, place_deg: float) -> None:
        night = self.mount.night
        part = (place_deg - night.stands_deg) / 10
        for _ in range(10 if abs(part) > 1e-6 else 0):
            night.turn_to(night.stands_deg + part)
            self._pass(_STEP_S)
