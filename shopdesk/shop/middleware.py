"""The shop on every request, in its own time zone."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from shopdesk.shop.models import Shop
from shopdesk.shop.queries import shop_or_none


class ShopTime:
    """Sets `request.shop` (a `Shop`, or `None` before it has been set up) and shows times in the shop's
    zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        shop = shop_or_none()
        request.shop = shop  # type: ignore[attr-defined]
        if shop is None:
            return self.get_response(request)
        with timezone.override(shop.tz):
            return self.get_response(request)


def shop_of(request: HttpRequest) -> Shop | None:
    shop: Shop | None = getattr(request, "shop", None)
    return shop
