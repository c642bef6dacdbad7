"""How the shop and the client stand at the head of a document: plain strings, as `documents` freezes them."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils import timezone

from shopdesk.clients.models import Client
from shopdesk.shop.models import Shop


def letterhead(shop: Shop, client: Client) -> dict[str, Any]:
    """The parts that every document begins with: `shop`, `client`, `lang` and `page_size`."""
    return {
        "shop": {
            "name": shop.name,
            "tagline": shop.tagline,
            "address_lines": shop.address_lines,
            "email": shop.email,
            "phone": shop.phone,
            "tax_number": shop.tax_number,
        },
        "client": {"name": client.name, "address_lines": client.address_lines},
        "lang": shop.locale.split("_")[0].split("-")[0] or "en",
        "page_size": shop.paper,
    }


def today_at(shop: Shop) -> date:
    """The date it is at the shop, wherever the server or the worker stands."""
    return timezone.localdate(timezone=shop.tz)
