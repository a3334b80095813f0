"""The rig file: optics, camera, mount, knobs and site, strictly checked; where it is and what follows from it.

From the top: agreement, summary, mechanics, file, faults, tables, limits, finding.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
