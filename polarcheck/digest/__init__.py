"""One night gathered, to keep and to show: what was found and done, its frames, its targets, its set-up.

From the top: schema, night_digest, targets, lights, frame_rows, thumbnails.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
