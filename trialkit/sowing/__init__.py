"""Dressing the seed and sowing it without spoiling the trial.

Names are loaded when first used, so that the commands start without the heavy libraries.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
