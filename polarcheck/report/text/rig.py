"""What follows from a rig file, as text with the formula of each number."""

from __future__ import annotations

from polarcheck.printable import printable
from polarcheck.report.text.lines import Column, table, wrapped
from polarcheck.report.text.words import counted
from polarcheck.rig import KnobSummary, LimitsTable, RigSummary

__all__ = ["rig_text"]

_COLUMNS = (Column("", "<"), Column("", "<"), Column("", "<", "below"))


def rig_text(summary: RigSummary) -> str:
    """Return the whole answer of ``polarcheck rig show``."""
    blocks = [
        [*_camera(summary), *_guiding(summary)],
        *(_knob(knob) for knob in summary.knobs),
        [*_mount(summary), *_site(summary)],
        _solver(summary),
    ]
    rows = [row for block in blocks if block for row in (None, *block)]
    parts = [
        wrapped(f"Rig file {printable(summary.rig.path)}"),
        table(_COLUMNS, rows[1:]) if rows else "",
        _open(summary),
    ]
    return "\n\n".join(part for part in parts if part)


Row = tuple[str, str, str]


def _camera(summary: RigSummary) -> list[Row]:
    size, focal = summary.rig.camera.pixel_size_um, summary.rig.optics.focal_length_mm
    rows = []
    if summary.pixel_scale_arcsec is not None:
        scale = f"{summary.pixel_scale_arcsec:.4g} arcsec/px"
        rows.append(("image scale", scale, f"206.265 x {size:g} um / {focal:g} mm"))
    if summary.width_deg is not None and summary.height_deg is not None:
        field = f"{summary.width_deg:.4g} x {summary.height_deg:.4g} deg"
        rows.append(("field of view", field, "2 atan(side / (2 x focal length))"))
    if summary.diagonal_deg is not None:
        rows.append(("  diagonal", f"{summary.diagonal_deg:.4g} deg", ""))
    if summary.rig.camera.zone is not None:
        rows.append(("camera's clock", _shown(summary.rig.camera.zone), "where its files name no time zone"))
    return rows


def _guiding(summary: RigSummary) -> list[Row]:
    if summary.rig.guiding.offset_deg is None or summary.guide_distance_deg is None:
        return []
    east, north = summary.rig.guiding.offset_deg
    sides = f"{abs(east):g} deg {'west' if east < 0 else 'east'}"
    sides += f", {abs(north):g} {'south' if north < 0 else 'north'}"
    return [("guide star", f"{summary.guide_distance_deg:.3g} deg off centre", sides)]


def _knob(knob: KnobSummary) -> list[Row]:
    stated = knob.knob
    name = f"{knob.name} knob"
    if not stated.model_fields_set:
        return [(name, "not known", "")]
    rows = [(name, "two opposed bolts" if stated.kind == "opposed bolts" else "one screw", ""), *_turns(knob)]
    if stated.clockwise_moves is not None:
        bolt = {"azimuth": "of the bolt on the east side", "altitude": "of the bolt on the pole's side"}
        of_which = bolt[knob.name] if stated.kind == "opposed bolts" else ""
        rows.append(("  clockwise", f"axis goes {stated.clockwise_moves}", of_which))
    if stated.backlash_turns is not None:
        rows.append(("  backlash", f"{stated.backlash_turns:g} turn", ""))
        rows += _follows("    so", knob.backlash_arcmin, "arcmin", _move_formula(knob, stated.backlash_turns))
    if stated.travel_arcmin is not None:
        rows.append(("  travel", f"{stated.travel_arcmin:g} arcmin", ""))
        rows += _follows("    so", knob.travel_turns, "turns", _travel_formula(knob))
    return rows


def _turns(knob: KnobSummary) -> list[Row]:
    if knob.arcmin_per_turn is None or knob.smallest_move_arcmin is None:
        return [("  one turn", "not known", "")]
    by_thread = "" if knob.knob.thread_pitch_mm is None else f"atan({_screw(knob)})"
    measured = knob.basis == "measured"
    rows = [("  one turn", f"{knob.arcmin_per_turn:.4g} arcmin", "measured" if measured else by_thread)]
    if measured and knob.by_thread_arcmin is not None:
        rows.append(("  by the thread", f"{knob.by_thread_arcmin:.4g} arcmin", by_thread))
    least = f"{knob.smallest_move_arcmin:.3g} arcmin"
    return [*rows, ("  smallest turn", least, _move_formula(knob, knob.smallest_turn))]


def _screw(knob: KnobSummary) -> str:
    return f"{knob.knob.thread_pitch_mm:g} mm / {knob.knob.lever_mm:g} mm"


def _move_formula(knob: KnobSummary, turns: float) -> str:
    if knob.basis is None:
        return ""
    if knob.basis == "measured":
        return f"{turns:g} turn x {knob.arcmin_per_turn:.4g} arcmin"
    return f"atan({turns:g} turn x {_screw(knob)})"


def _travel_formula(knob: KnobSummary) -> str:
    if knob.basis is None:
        return ""
    if knob.basis == "measured":
        return f"travel / {knob.arcmin_per_turn:.4g} arcmin"
    return "2 x lever x tan(travel / 2) / pitch"


def _follows(name: str, value: float | None, unit: str, formula: str) -> list[Row]:
    return [] if value is None else [(name, f"{value:.3g} {unit}", formula)]


def _mount(summary: RigSummary) -> list[Row]:
    mount = summary.rig.mount
    rows: list[Row] = [] if mount.kind is None else [("mount", mount.kind, "")]
    rows += _limits(mount.limits)
    if mount.periodic_error_arcsec is not None:
        rows.append(("periodic error", f"{mount.periodic_error_arcsec:g} arcsec", "peak to peak"))
    if mount.worm_period_s is not None:
        rows.append(("worm", f"{mount.worm_period_s:g} s a turn", ""))
    if mount.flexure_arcsec is not None:
        rows.append(("sag and creep", f"{mount.flexure_arcsec:g} arcsec", "allowed for by measure"))
    if mount.clamp_shift_arcmin is not None:
        azimuth, altitude = mount.clamp_shift_arcmin
        rows.append(("clamps", f"{azimuth:+g}, {altitude:+g} arcmin", "azimuth, altitude, by tightening"))
    return rows


def _limits(limits: LimitsTable) -> list[Row]:
    rows: list[Row] = []
    if limits.lowest_deg is not None:
        rows.append(("lowest", f"{limits.lowest_deg:g} deg", "altitude of a planned frame"))
    if limits.highest_deg is not None:
        rows.append(("highest", f"{limits.highest_deg:g} deg", "above it the tube meets the tripod"))
    if limits.past_meridian_deg is not None:
        rows.append(
            ("past meridian", f"{limits.past_meridian_deg:g} deg", "before the side of the pier changes")
        )
    if limits.axis_angle_deg is not None:
        least, greatest = limits.axis_angle_deg
        rows.append(("turns", f"{least:+g} to {greatest:+g} deg", "from the meridian, west positive"))
    if limits.arc_deg is not None:
        rows.append(("arc", f"{limits.arc_deg:g} deg", "longest of one sweep"))
    return rows


def _horizon(profile: list[list[float]] | None) -> list[Row]:
    if not profile:
        return []
    altitudes = [altitude for _, altitude in profile]
    return [("horizon", f"{min(altitudes):g} to {max(altitudes):g} deg", counted(len(profile), "corner"))]


def _site(summary: RigSummary) -> list[Row]:
    site = summary.rig.site
    if site is None:
        return []
    return [
        (
            "site",
            f"{site.latitude_deg:g}, {site.longitude_deg:g} deg",
            f"latitude, longitude; {site.height_m:g} m high",
        ),
        *_horizon(summary.rig.horizon),
        *([("clock", _shown(summary.rig.zone), "of times of day that you type")] if summary.rig.zone else []),
    ]


def _solver(summary: RigSummary) -> list[Row]:
    """The plate solver, as stated; nothing where the file leaves all of it to the tool."""
    solver = summary.rig.solver
    rows: list[Row] = []
    if "always" in solver.model_fields_set:
        said = "solved on the way" if solver.always else "left as they are"
        rows.append(("unsolved frames", said, "by measure, follow, stars and watch"))
    for i, folder in enumerate(solver.index_folders or ()):
        rows.append(("" if i else "index folders", _shown(folder), ""))
    if solver.command is not None:
        words = [part if isinstance(part, str) else " ".join(part) for part in solver.command]
        rows.append(("solver", _shown(words[0]), _shown(" ".join(words[1:]))))
    return rows


def _shown(text: str) -> str:
    return printable(text, 200)


def _open(summary: RigSummary) -> str:
    if not summary.open_points:
        return ""
    columns = (Column("not in the file", "<"), Column("what a command does without it", "<", "below"))
    return table(columns, [(point.key, f"{point.command}: {point.without}") for point in summary.open_points])
