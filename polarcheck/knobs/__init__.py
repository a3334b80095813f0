"""From an axis error to turns of the knobs, learning from each turn; whether another turn is worth it.

From the top: schema, expected, correction, writing, moves, advice, positions, outcome, goal, clamps, response, play,
spec, amount.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
