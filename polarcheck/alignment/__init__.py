"""An axis against a pole: the error in the units and signs that all else speaks, and the state that is kept.

From the top: saved, state, error.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
