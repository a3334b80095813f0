from .answers import Answer
from .view import (
    AxisTableNow,
    EveningSchema,
    FrameCounts,
    KnobTurn,
    LastFrame,
    NowTable,
    TargetFrames,
    TrendPoint,
    TurnsTaken,
)

__all__ = [
    "Answer",
    "AxisTableNow",
    "EveningSchema",
    "FrameCounts",
    "KnobTurn",
    "LastFrame",
    "NowTable",
    "TargetFrames",
    "TrendPoint",
    "TurnsTaken",
]
