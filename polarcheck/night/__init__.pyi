from .account import ANOTHER_NIGHT_S, NightAccount, NightStep, account_of, last_night, nights_of
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
from .nights import KnobOverNights, MeanOverNights, Nights, NightShift, OneNight, read_nights
from .place import common_folder
from .schema import NightSchema

__all__ = [
    "ANOTHER_NIGHT_S",
    "NIGHT_FILE",
    "AdviceEvent",
    "CheckedEvent",
    "Event",
    "FollowedEvent",
    "KnobOverNights",
    "MeanOverNights",
    "MeasuredEvent",
    "MovedEvent",
    "NightAccount",
    "NightBook",
    "NightEvent",
    "NightLog",
    "NightRecord",
    "NightSchema",
    "NightShift",
    "NightStep",
    "Nights",
    "OneNight",
    "RefusedEvent",
    "Tonight",
    "TurnedEvent",
    "account_of",
    "common_folder",
    "last_night",
    "night_that_knows",
    "nights_of",
    "read_nights",
    "tonight_in",
]
