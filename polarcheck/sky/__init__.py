"""The real sky at a site: ICRS places to observed directions and back, the poles, the Earth's rotation, tracks.

Only this room asks ERFA about the sky.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
