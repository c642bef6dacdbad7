"""What is said about visits."""

from __future__ import annotations

from datetime import datetime

from shopdesk.commissions.models import Commission
from shopdesk.look.formats import clock, moment
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from shopdesk.visits.models import Visit

WHAT = {Visit.Kind.DROP_OFF: "Drop-off", Visit.Kind.PICKUP: "Pickup", Visit.Kind.SITE: "Site visit"}
"""How each is called, at the head of a line."""
ASKS = {
    Visit.Kind.DROP_OFF: "When will you bring it?",
    Visit.Kind.PICKUP: "When will you fetch it?",
    Visit.Kind.SITE: "When may we come and look?",
}
"""What the client's page asks above the free times."""


def place_lines(shop: Shop, commission: Commission, kind: str) -> list[str]:
    """Where the two meet, a line each: at the client's for a site visit, else at the shop. Empty when the
    client's address is not known."""
    return commission.client.address_lines if kind == Visit.Kind.SITE else shop.address_lines


def where(shop: Shop, commission: Commission, kind: str) -> dict[str, str]:
    """The place in words, and `shop_comes` ("yes" or "") for who comes to whom."""
    place = ", ".join(place_lines(shop, commission, kind))
    return {"address": place, "shop_comes": "yes" if kind == Visit.Kind.SITE else ""}


def said_time(shop: Shop, starts_at: datetime, ends_at: datetime) -> str:
    """`Wed 9 Dec, 14:30–15:00`, in the shop's time and manner."""
    today = today_at(shop)
    return f"{moment(starts_at, shop.tz, shop.locale, today)}–{clock(ends_at, shop.tz, shop.locale)}"


def said_span(days: int) -> str:
    """`six weeks`, `10 days`: how far ahead the times on a page go."""
    weeks, odd = divmod(days, 7)
    if odd or weeks < 2:
        return f"{days} days" if days != 1 else "day"
    small = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
    return f"{small[weeks - 2] if weeks - 2 < len(small) else weeks} weeks"


def ask_us(shop: Shop) -> str:
    """ "Call us on 555-0118." or how else to reach the shop at short notice."""
    return f"Call us on {shop.phone}." if shop.phone else f"Write to us at {shop.email}."
