"""Observed directions to the mount's axis with its covariance: pure geometry, radians, no files, clocks or sites.

From the top: fit, in_camera; explanations, proposals, robust, evidence, consensus, noise; rotations, least_squares; attitudes.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
