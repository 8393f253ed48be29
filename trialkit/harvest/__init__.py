"""From what the machine wrote to strip yields one can trust.

Names are loaded when first used, so that reading `trial.toml` (which needs the screening limits)
does not load pandas.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
