from .answers import Answer
from .arrivals import Arrivals, Look
from .evening import Evening
from .finding import Wishes
from .preloading import warm_up
from .resuming import night_so_far
from .showing import Moment, sound_of, view_of
from .star_reader import StarReader
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
from .wake_up import WakeUp

__all__ = [
    "Answer",
    "Arrivals",
    "AxisTableNow",
    "Evening",
    "EveningSchema",
    "FrameCounts",
    "KnobTurn",
    "LastFrame",
    "Look",
    "Moment",
    "NowTable",
    "StarReader",
    "TargetFrames",
    "TrendPoint",
    "TurnsTaken",
    "WakeUp",
    "Wishes",
    "night_so_far",
    "sound_of",
    "view_of",
    "warm_up",
]
