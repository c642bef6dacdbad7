"""The one shop."""

from shopdesk.shop.models import Shop


class NoShop(Exception):
    """Nothing has been set up yet."""


def shop_or_none() -> Shop | None:
    return Shop.objects.first()


def the_shop() -> Shop:
    """The shop. Raises `NoShop` before it has been set up."""
    shop = shop_or_none()
    if shop is None:
        raise NoShop
    return shop
