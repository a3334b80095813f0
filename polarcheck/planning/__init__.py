"""Before dark and before the first frame: set-up numbers, the checklist, and which frames to take.

From the top: sweep, sweep_search, tracked, rough, checklist, expected, avoided, usual_errors, pole_star, compass, bodies.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
