"""The evening at the mount, live: a folder followed while frames arrive, and one state of the night made of them.

From the top: arrivals, wake_up, preloading, resuming, showing, evening, turning, late, targets, places, finding, fields, view,
answers.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
