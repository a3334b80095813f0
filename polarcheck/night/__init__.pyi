from .account import NightAccount, NightStep, account_of, last_night, nights_of
from .book import NightBook
from .current import Tonight, night_that_knows, tonight_in
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
from .place import common_folder

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
    "Tonight",
    "TurnedEvent",
    "account_of",
    "common_folder",
    "last_night",
    "night_that_knows",
    "nights_of",
    "tonight_in",
]
