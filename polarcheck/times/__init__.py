"""Moments in UTC and lengths of time: text and time scales to numbers and back.

From the top: utc, durations, zones, moments.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
