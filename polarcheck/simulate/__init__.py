"""A mount whose axis error is known, under the real sky: its geometry, and solved frames of it.

From the top: after, write, cards, stars, knobs, mount.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
