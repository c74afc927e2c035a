"""What a small wind machine will earn at a site: yearly energy, cost per kWh, payback."""

import lazy_loader

__version__ = "0.2.0"

# `import yieldest` stays quick: a name is imported when it is first used. They stand in
# __init__.pyi, where type checkers read them too.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
__all__ += ["__version__"]
