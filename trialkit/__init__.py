"""Find out on your own farm whether dressing seed with biological products pays.

The names a notebook needs, in season order; each is imported when it is first used.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
