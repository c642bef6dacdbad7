"""What every template may use."""

from typing import Any

from django.http import HttpRequest

from shopdesk.shop.middleware import shop_of


def shop(request: HttpRequest) -> dict[str, Any]:
    return {"shop": shop_of(request)}
