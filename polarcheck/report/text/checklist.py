"""The checklist as plain text to print, a box before each step."""

from __future__ import annotations

from collections.abc import Callable

from polarcheck.planning import LATITUDE_SCALE_DEG, Checklist, Stage
from polarcheck.report.text.lines import wrapped
from polarcheck.report.text.rough import compass_words, dusk_words, face_text, shadow_words
from polarcheck.report.text.words import clock_text, utc_text

__all__ = ["checklist_steps", "checklist_text"]


def checklist_text(steps: Checklist) -> str:
    """Return the checklist of a set-up: 79 columns, plain characters."""
    site = steps.setup.sky.site
    head = wrapped(
        f"Set-up at latitude {site.latitude_deg:.3f}, longitude {site.longitude_deg:.3f} deg, {utc_text(steps.setup.utc)}. "
        "The makers' manuals and local rules come first."
    )
    return "\n".join([head, "", *(wrapped(f"[ ] {text}", "", "    ") for text in checklist_steps(steps))])


def checklist_steps(steps: Checklist) -> tuple[str, ...]:
    """Return the steps as sentences, in their order."""
    return tuple(_STEPS[stage](steps) for stage in steps.stages)


def _toward(steps: Checklist) -> str:
    return "north" if steps.setup.sky.is_north else "south"


def _place(steps: Checklist) -> str:
    return "Place: firm ground, wind shelter, nobody's way. Open sky over a wide arc of hour angle counts, not the pole."


def _centre_knobs(steps: Checklist) -> str:
    return "Knobs: set azimuth and altitude to the middle of their travel, by count of turns, before anything else."


def _tripod(steps: Checklist) -> str:
    leg = (
        ""
        if steps.kind == "tracker"
        else f" One leg towards {_toward(steps)}, if the mount's manual says so."
    )
    return f"Tripod: legs out and locked, feet pressed in, spreader tight.{leg} Keep it low."


def _direction(steps: Checklist) -> str:
    setup = steps.setup
    ways = []
    if setup.compass.bearing_deg is not None:
        ways.append(f"Compass: {compass_words(setup)}")
    if setup.shadows:
        ways.append(f"Shadow: {shadow_words(setup)} See the table of polarcheck rough.")
    if not ways:
        ways.append("By the stars, once they are out.")
    return f"Direction: turn the polar axis towards true {_toward(steps)}. " + " ".join(ways)


def _level(steps: Checklist) -> str:
    _, moved = steps.setup.level[1]
    return (
        "Level: bubble within half a degree. It serves the latitude scale; at 1 deg of tilt an azimuth move of a degree "
        f"changes the altitude by {moved:.1f} arcmin, which the next frame shows."
    )


def _latitude(steps: Checklist) -> str:
    return (
        f"Latitude scale: {steps.setup.latitude_dial_deg:.1f} deg (good to {LATITUDE_SCALE_DEG:.0f} deg). Hold the head "
        "when you loosen an altitude bolt, and never raise a loaded mount by forcing it."
    )


def _sun(steps: Checklist) -> str:
    return (
        "Sun: caps on telescope, guide scope and finders while it is up. Never look at it, never sweep across it; an "
        "uncovered lens burns in seconds, eyes faster."
    )


def _counterweight(steps: Checklist) -> str:
    also = "" if steps.kind == "german" else " (where the mount has one)"
    return f"Counterweight{also}: before the telescope, shaft down, weight on, safety stop screwed in at its end. Feet clear."


def _telescope(steps: Checklist) -> str:
    if steps.kind == "tracker":
        return (
            "Camera: head and clamp tight, strap or safety screw on, lens pointing away from you. Hold the load before you "
            "loosen a clamp."
        )
    return (
        "Telescope: dovetail fully in, both screws tight, safety stop on the dovetail. Hold the tube before you loosen a "
        "clutch, and let it go slowly."
    )


def _balance(steps: Checklist) -> str:
    if steps.kind == "tracker":
        return "Balance: camera and lens over the axis as well as the head allows; nothing may slip when it turns."
    return (
        "Balance: with camera, guide scope, dew cap and focus as at night. Right ascension first, then declination; a little "
        "heavy on the east side keeps the gear pressed."
    )


def _cables(steps: Checklist) -> str:
    return "Cables: slack for the whole turn; try it by hand from end to end. Nothing may pull on the camera."


def _power(steps: Checklist) -> str:
    return (
        "Power: batteries warm and charged. Mains outdoors only through a residual-current device, with outdoor cables and "
        "plugs off the wet ground."
    )


def _site_and_clock(steps: Checklist) -> str:
    site = steps.setup.sky.site
    north, east = ("N" if site.latitude_deg >= 0 else "S"), ("E" if site.longitude_deg >= 0 else "W")
    return (
        f"Site and clock: {abs(site.latitude_deg):.3f} {north}, {abs(site.longitude_deg):.3f} {east}; UTC, not summer time. "
        "A minute of clock error turns the answer by a quarter of a degree about the pole."
    )


def _pole_star(steps: Checklist) -> str:
    setup, star = steps.setup, steps.setup.dusk_star or steps.setup.pole_star
    shown = setup.sun_times.pole_star if setup.dusk_star else setup.utc
    clock = f"{clock_text(shown or setup.utc)} UTC"
    when = f"Dusk: {dusk_words(setup)}"
    if setup.pole_star_hidden or star.altitude_deg < 3:
        return f"{when} The pole star is hidden here: go on with frames, they do not need it."
    by_eye, inverted = face_text(star.clock_naked_eye), face_text(star.clock_inverted)
    if steps.finder == "none":
        return (
            f"{when} Without a polar finder: sight {star.name} along the axis (azimuth {star.azimuth_deg:.1f}, altitude "
            f"{star.altitude_deg:.1f} deg at {clock}), with bolts and knobs, not by moving legs."
        )
    place = {
        "inverting": f"{inverted} in the inverting finder",
        "upright": f"{by_eye} in the upright finder",
    }.get(str(steps.finder), f"{by_eye} in an upright finder, {inverted} in an inverting one")
    group = "" if setup.sky.is_north else " Find it among its neighbours (polarcheck rough lists them)."
    return (
        f"{when} Focus. Put {star.name} {star.distance_arcmin:.0f} arcmin from the pole at {place}, at {clock}; it "
        f"goes half an hour of the clock's face each hour.{group} No finder in place: sight it along the axis."
    )


def _first_frames(steps: Checklist) -> str:
    return (
        "First frames: polarcheck plan says where. Clamp declination, turn in right ascension only, let it settle, solve, "
        "polarcheck measure."
    )


def _pack_up(steps: Checklist) -> str:
    weights = "" if steps.kind in ("fork", "tracker") else " Telescope off before the counterweight."
    return f"Afterwards: caps on, power off.{weights} Keep the result: it is the start of the next night."


_STEPS: dict[Stage, Callable[[Checklist], str]] = {
    "place": _place,
    "centre knobs": _centre_knobs,
    "tripod": _tripod,
    "direction": _direction,
    "level": _level,
    "latitude": _latitude,
    "sun": _sun,
    "counterweight": _counterweight,
    "telescope": _telescope,
    "balance": _balance,
    "cables": _cables,
    "power": _power,
    "site and clock": _site_and_clock,
    "pole star": _pole_star,
    "first frames": _first_frames,
    "pack up": _pack_up,
}
