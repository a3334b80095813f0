"""The evening on a phone beside the knobs: a small server that is started only when asked for, and its one page.

From the top: server, routes, streams, exchange, posted, resources, addresses, qr_code.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
