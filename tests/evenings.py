"""States of an evening, made by hand, for what shows them."""

from __future__ import annotations

from typing import Any

from polarcheck.watch import EveningSchema

HOSTILE = '<b onclick="x()">\'&amp;\u202egnp.exe\u2067\x1b[31m\r\n</script><script>alert(1)</script>'


def knob(name: str, direction: str, amount: str, sense: str | None = "clockwise") -> dict[str, Any]:
    known = sense is not None
    return {
        "knob": name,
        "direction": direction,
        "sense": sense,
        "turns": 0.25 if known else None,
        "amount": amount,
        "unit": "turn" if known else "arcmin",
        "move_arcmin": -12.3,
    }


AZIMUTH = knob("azimuth", "west", "1 3/4", "counterclockwise")
ALTITUDE = knob("altitude", "up", "0.62")
NOW: dict[str, dict[str, Any]] = {
    "wait": {
        "action": "wait",
        "sentence": "Wait: 3 frames are here, without a solution so far.",
        "knobs": [],
        "frames_deg": [],
        "why": "",
    },
    "frames": {
        "action": "frames",
        "sentence": "Turn no knob. Take four frames, each 20 deg further west about the right-ascension axis.",
        "knobs": [],
        "frames_deg": [0.0, 20.0, 40.0, -12.5],
        "why": "Two frames over 9 deg tell the axis to 6 arcmin only.",
    },
    "turn": {
        "action": "turn",
        "sentence": "Turn the azimuth knob 1 3/4 turns counterclockwise, then the altitude knob 0.62 turns "
        "clockwise; then take a frame where the mount stands.",
        "knobs": [AZIMUTH, ALTITUDE],
        "frames_deg": [0.0],
        "why": "19.8 arcmin are left, 2 are near enough.",
    },
    "one": {
        "action": "turn",
        "sentence": "Turn the altitude knob 1/4 turn clockwise, then take a frame where the mount stands.",
        "knobs": [knob("altitude", "down", "1/4")],
        "frames_deg": [0.0],
        "why": "",
    },
    "unknown": {
        "action": "turn",
        "sentence": "Move the axis 23.4 arcmin west and 11.8 up; the rig file knows no knobs.",
        "knobs": [knob("azimuth", "west", "23.4", None), knob("altitude", "up", "11.8", None)],
        "frames_deg": [0.0],
        "why": "",
    },
    "stop": {
        "action": "stop",
        "sentence": "Near enough: 0.62 arcmin in all. Lock the axes as you found them and go on to the target.",
        "knobs": [],
        "frames_deg": [],
        "why": "Another turn would gain less than the hand can set.",
    },
}

AXIS = {
    "azimuth_arcmin": 23.4,
    "altitude_arcmin": -11.8,
    "total_arcmin": 19.79,
    "azimuth_sigma_arcmin": 0.03,
    "altitude_sigma_arcmin": 0.02,
    "azimuth_allowance_arcmin": 0.15,
    "altitude_allowance_arcmin": 0.1,
    "azimuth_side": "east",
    "altitude_side": "low",
    "time_utc": "2026-11-14T21:14:54",
}


def trend(*totals: float) -> list[dict[str, Any]]:
    return [
        {
            "time_utc": f"2026-11-14T21:{14 + 3 * i:02d}:54",
            "azimuth_arcmin": total,
            "altitude_arcmin": 0.0,
            "total_arcmin": total,
            "sigma_arcmin": 0.08 * total,
            "fresh": i % 2 == 0,
        }
        for i, total in enumerate(totals)
    ]


LAST = {
    "file": "field_0042.fits",
    "time_utc": "2026-11-14T21:20:54",
    "counted": True,
    "part": "follow-up",
    "reason": "stands where the sweep ended",
}


def evening(number: int = 1, what: str = "turn", **other: Any) -> EveningSchema:
    """A state, `what` one of `NOW`; `other` replaces whole keys."""
    state: dict[str, Any] = {
        "number": number,
        "time_utc": "2026-11-14T21:21:00",
        "folder": "frames",
        "now": NOW[what],
        "axis": AXIS,
        "left_arcmin": 0.4,
        "goal_arcmin": 2.0,
        "trend": trend(62.0, 31.5, 19.79),
        "last_frame": LAST,
        "counts": {"counted": 9, "of_target": 0, "refused": 1, "unsolved": 2, "growing": 1},
        "target": None,
        "taken": {"azimuth": -1.75, "altitude": 0.62, "as_told": True},
        "sound": None,
        "warnings": [],
    }
    return EveningSchema.model_validate({**state, **other})
