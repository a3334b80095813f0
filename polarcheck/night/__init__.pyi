from .account import NightAccount, NightStep, account_of, last_night
from .book import NightBook
from .events import (
    AdviceEvent,
    CheckedEvent,
    Event,
    FollowedEvent,
    MeasuredEvent,
    MovedEvent,
    NightEvent,
    RefusedEvent,
    TurnedEvent,
)
from .log import NIGHT_FILE, NightLog, NightRecord

__all__ = [
    "NIGHT_FILE",
    "AdviceEvent",
    "CheckedEvent",
    "Event",
    "FollowedEvent",
    "MeasuredEvent",
    "MovedEvent",
    "NightAccount",
    "NightBook",
    "NightEvent",
    "NightLog",
    "NightRecord",
    "NightStep",
    "RefusedEvent",
    "TurnedEvent",
    "account_of",
    "last_night",
]
