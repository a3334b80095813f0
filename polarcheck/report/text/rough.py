"""The set-up numbers before the first frame, to be read by daylight and at dusk."""

from __future__ import annotations

from polarcheck.planning import COMPASS_DEG, LATITUDE_SCALE_DEG, Expectation, PoleStar, RoughSetup
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import clock_text, utc_text
from polarcheck.site import Site

__all__ = ["compass_words", "dusk_words", "face_text", "hours_text", "rough_text", "shadow_words"]

_MOST_SHADOWS = 13  # two hours
_WAYS = {
    "compass": "compass and latitude scale",
    "shadow": "Sun's shadow and latitude scale",
    "sighted": "pole star sighted along the axis",
    "finder": "pole star set in a polar finder",
}
_SHADOWS = (
    Column("UTC"),
    Column("shadow\ndeg"),
    Column("Sun high\ndeg"),
    Column("length\nof pole", narrow="drop"),
)
_STARS = (
    Column("", "<"),
    Column("mag", narrow="drop"),
    Column("from pole\ndeg"),
    Column("by eye\nclock"),
    Column("inverting\nclock"),
)
_EXPECTED = (Column("after", "<", "clip", 24), Column("usually off\narcmin"), Column("knobs", "<", "below"))


def rough_text(setup: RoughSetup) -> str:
    """Return what ``polarcheck rough`` answers."""
    parts = [
        _headline(setup),
        _dials(setup),
        _shadow_table(setup),
        _moon(setup),
        _pole_star(setup),
        _neighbours(setup),
        _expected(setup),
        _level(setup),
    ]
    return "\n\n".join(part for part in parts if part)


def face_text(hours: float) -> str:
    """Return a place on a clock's face as hours and minutes: 1.42 is 1:25."""
    minutes = round(hours * 60)
    return f"{(minutes // 60 - 1) % 12 + 1}:{minutes % 60:02d}"


def hours_text(hours: float) -> str:
    """Return an hour angle, a right ascension or a sidereal time to the minute: ``15h10m``."""
    minutes = round(hours * 60) % 1440
    return f"{minutes // 60}h{minutes % 60:02d}m"


def _headline(setup: RoughSetup) -> str:
    site = setup.sky.site
    return wrapped(
        f"Set-up numbers for {utc_text(setup.utc)} at latitude {site.latitude_deg:.3f}, longitude "
        f"{site.longitude_deg:.3f} deg ({site.source}). Local sidereal time {hours_text(setup.sidereal_time_h)}. Centre the "
        "travel of both knobs before anything else."
    )


def _dials(setup: RoughSetup) -> str:
    pole = setup.sky.refracted_pole
    said = (
        f"Latitude scale: {setup.latitude_dial_deg:.1f} deg. Such scales are usually within {LATITUDE_SCALE_DEG:.0f} deg, "
        f"base level. The refracted pole, to aim at later, stands {pole.altitude_deg:.3f} deg high.",
        f"Compass: {compass_words(setup)}",
        f"Shadow: {shadow_words(setup)}",
        f"Dusk: {dusk_words(setup)}",
    )
    return "\n".join(wrapped(one, "  ", "    ") for one in said)


def compass_words(setup: RoughSetup) -> str:
    """Return what a compass reads, and what that is worth."""
    compass = setup.compass
    if compass.declination_deg is None or compass.bearing_deg is None:
        return "unknown: no magnetic model for that date."
    side = "east" if compass.declination_deg >= 0 else "west"
    plus = f" ± {compass.sigma_deg:.1f}" if compass.sigma_deg is not None else ""
    until = f", good until {compass.valid[1]:.0f}" if compass.valid else ""
    return (
        f"{compass.bearing_deg % 360:.1f} deg on a compass is true {_pole_side(setup.sky.site)}: magnetic north lies "
        f"{abs(compass.declination_deg):.1f}{plus} deg {side} of true north ({compass.model}{until}). Read it a few steps "
        f"away: mount, motors, phones and cars pull it by degrees ({COMPASS_DEG:.0f} are usual)."
    )


def _pole_side(site: Site) -> str:
    return "north" if site.is_north else "south"


def shadow_words(setup: RoughSetup) -> str:
    """Return where the shadow points now."""
    if not setup.shadows:
        return "none: the Sun is down or at the horizon."
    first = setup.shadows[0]
    words = (
        f"that of a plumb line points to azimuth {first.azimuth_deg:.1f} deg now (the Sun {first.altitude_deg:.0f} deg "
        "high). Look at the shadow, never at the Sun; caps on every lens and finder."
    )
    if first.altitude_deg > 60:
        words += " It is short and quick now: wait until the Sun is lower."
    return words


def dusk_words(setup: RoughSetup) -> str:
    """Return when the Sun sets and the pole star comes out."""
    times = setup.sun_times
    if times.sunset is None and times.dark is None and times.pole_star is None:
        if setup.sun.is_up:
            return "none: the Sun does not set within a day."
        if setup.sun.altitude_deg < -18:
            return "it is dark, and stays dark for a day."
        return "the Sun neither rises nor gets lower than it is, within a day."
    found = []
    if times.sunset:
        found.append(f"the Sun sets at {clock_text(times.sunset)}")
    if times.pole_star:
        star = "the pole star shows from about" if setup.sky.is_north else "bright stars show from about"
        found.append(f"{star} {clock_text(times.pole_star)}")
    found.append(f"dark from {clock_text(times.dark)}" if times.dark else "it does not get fully dark")
    return ", ".join(found) + " (UTC, the next ones)."


def _shadow_table(setup: RoughSetup) -> str:
    rows = setup.shadows[:_MOST_SHADOWS]
    if len(rows) < 2:
        return ""
    cells = [
        (clock_text(row.utc), f"{row.azimuth_deg:.1f}", f"{row.altitude_deg:.1f}", f"{row.length:.1f}")
        for row in rows
    ]
    per_minute = abs((rows[1].azimuth_deg - rows[0].azimuth_deg + 180) % 360 - 180) / 10
    foot = wrapped(f"Azimuth: north 0, east 90. A minute late is {per_minute:.2f} deg.", "  ")
    return f"{table(_SHADOWS, cells)}\n{foot}"


def _moon(setup: RoughSetup) -> str:
    moon = setup.moon
    if not moon.body.is_up:
        return wrapped(f"The Moon is down ({moon.lit:.0%} lit).", "  ")
    return wrapped(
        f"The Moon stands at azimuth {moon.body.azimuth_deg:.1f}, altitude {moon.body.altitude_deg:.1f} deg ({moon.lit:.0%} "
        "lit): behind a plumb line it gives the direction, too.",
        "  ",
    )


def _pole_star(setup: RoughSetup) -> str:
    star, north = setup.pole_star, setup.sky.is_north
    side = "right" if star.azimuth_offset_arcmin > 0 else "left"
    height = "above" if star.altitude_offset_arcmin > 0 else "below"
    said = [
        f"from the pole: {star.distance_arcmin:.1f} arcmin ({star.refracted_distance_arcmin:.1f} as seen, from the refracted "
        "pole)",
        f"of the pole: {abs(star.azimuth_offset_arcmin):.1f} arcmin {side} in azimuth, facing "
        f"{'north' if north else 'south'}, and {abs(star.altitude_offset_arcmin):.1f} {height}",
        f"by the clock: {_faces(star)}",
        f"moves {star.speed_arcmin_per_h:.1f} arcmin an hour, {'anti' if north else ''}clockwise: half an hour of the face",
    ]
    dusk, when = setup.dusk_star, setup.sun_times.pole_star
    if dusk and when:
        said.append(f"when it shows, {clock_text(when)} UTC: {_faces(dusk)}")
    if setup.pole_star_hidden:
        said.append("hidden by the rig file's horizon; frames do not need it: see polarcheck plan")
    head = wrapped(
        f"{_capital(star.name)}, hour angle {hours_text(star.hour_angle_h)}, seen at azimuth {star.azimuth_deg:.2f}, altitude "
        f"{star.altitude_deg:.2f} deg"
    )
    return "\n".join([head, *(wrapped(one, "  ", "    ") for one in said)])


def _faces(star: PoleStar) -> str:
    return f"{face_text(star.clock_naked_eye)} for the eye, {face_text(star.clock_inverted)} in an inverting finder"


def _capital(name: str) -> str:
    return name[0].upper() + name[1:]


def _neighbours(setup: RoughSetup) -> str:
    rows = [
        (
            _capital(star.name),
            f"{star.magnitude:.1f}",
            f"{star.distance_arcmin / 60:.2f}",
            face_text(star.clock_naked_eye),
            face_text(star.clock_inverted),
        )
        for star in setup.stars[1:]
    ]
    shown = f"Its neighbours\n{table(_STARS, rows)}"
    if setup.sky.is_north:
        return shown
    faint = "Sigma Octantis is faint (magnitude 5.4): find the four together, in a finder or binoculars."
    return f"{shown}\n{wrapped(faint, '  ')}"


def _expected(setup: RoughSetup) -> str:
    head = wrapped("How far off the axis usually is afterwards (common practice, no source)")
    foot = wrapped(
        "Any of these will do for a start: solved frames give the axis wherever it points. What counts is that the knobs' "
        f"travel takes it up{_travel(setup.expected)}{_field(setup.expected[0])}",
        "  ",
    )
    return "\n".join([head, table(_EXPECTED, [_expectation(one) for one in setup.expected]), foot])


def _expectation(expected: Expectation) -> tuple[str, ...]:
    knobs = {True: "suffice", False: "may not suffice", None: ""}[expected.knobs_suffice]
    return _WAYS[expected.way], f"{expected.total_arcmin:.0f}", knobs


def _travel(expected: tuple[Expectation, ...]) -> str:
    if all(one.knobs_suffice is None for one in expected):
        return "; the rig file does not say what that is (travel_arcmin)."
    return "."


def _field(expected: Expectation) -> str:
    if expected.pole_in_frame is None:
        return ""
    seen = "shows" if expected.pole_in_frame else "need not show"
    return f" After the roughest way a frame along the axis {seen} the pole."


def _level(setup: RoughSetup) -> str:
    shown = ", ".join(f"{moved:.1f} arcmin at {tilt:g} deg" for tilt, moved in setup.level)
    return wrapped(
        "Level: the alignment itself does not need it, for it is measured on the sky. A base out of level shifts what the "
        f"latitude scale says, one to one, and lets an azimuth move of a degree change the altitude by up to {shown} of "
        "tilt. A bubble within half a degree is enough; steady legs matter more."
    )
