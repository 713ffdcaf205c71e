"""Where a visit stands is asked of a shop as the screens' tests have it."""

from ..screens.conftest import screens

__all__ = ["screens"]
