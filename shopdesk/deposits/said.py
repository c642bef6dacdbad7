"""What the account has to say in words about a commission (`commissions.fields`)."""

from __future__ import annotations

from shopdesk.commissions.fields import Field, register
from shopdesk.commissions.models import Commission
from shopdesk.deposits.queries import standings
from shopdesk.look.formats import day, money
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


def money_words(commission: Commission, shop: Shop) -> dict[str, str]:
    standing = standings([commission], papers=False).get(commission.pk)
    if standing is None:
        return {}
    words = {"due": money(standing.due, standing.currency, shop.locale) if standing.due else ""}
    if standing.deposit_open:
        words["deposit"] = money(standing.deposit_open, standing.currency, shop.locale)
        words["deposit_due"] = day(standing.deposit_due_on, shop.locale, today_at(shop))
    return words


def register_fields() -> None:
    register(
        money_words,
        Field("due", "what is still to pay of the price", "Nothing is to pay now."),
        Field("deposit", "what is open of the deposit", "Nothing of the deposit is open."),
        Field("deposit_due", "the day the deposit is due", "No deposit is due."),
    )
