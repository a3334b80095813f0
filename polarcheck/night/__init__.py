"""The night, remembered: one append-only file of events beside the frames, and what it amounts to.

From the top: schema, nights, current, book, account, log, events, place.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
