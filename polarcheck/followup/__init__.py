"""Frames after a turn: the axis now, and the mark on the sensor for the next turn.

From the top: last_frame, mark, axis_now, agreement, later_frames.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
