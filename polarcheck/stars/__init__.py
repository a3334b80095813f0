"""Stars measured from pixels: where they are, how large, how elongated, and which of them serve as a mark.

Everything but `files` and `steady` takes arrays; only `polarcheck.frames` reads files.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
