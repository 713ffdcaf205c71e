"""Where a visit stands is asked of a shop as the screens' tests have it."""

from ..screens.conftest import empty_shop, screens

__all__ = ["empty_shop", "screens"]
