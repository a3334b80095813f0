"""What the axis error does to a target: drift, field rotation, the longest exposure, all over the sky and all night.

From the top: outlook, drift_check, star_ties, timeline, skymap, star_look, exposure_list, target_axis, growing_motion,
exposure, scene, drift, optics, seeing.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
