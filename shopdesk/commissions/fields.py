"""What can be put in for a named blank in words about a commission: its pieces, its dates, its money.

The rooms above register what they know, in their `apps.py`; nobody asks for a value that is not needed."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date

from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission
from shopdesk.look.formats import day
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

Values = Callable[[Commission, Shop], dict[str, str]]
"""A value for each name it was registered for; "" where there is nothing to put in."""


@dataclass(frozen=True)
class Field:
    """`says` is what is put in ("the day it should be ready"), `missing` the sentence for when there is
    nothing to put in."""

    name: str
    says: str
    missing: str = ""


_fields: dict[str, Field] = {}
_sources: list[tuple[frozenset[str], Values]] = []


def register(values: Values, *fields: Field) -> None:
    """`values` knows what to put in for these `fields`. In the order in which they are shown to the owner."""
    _fields.update((field.name, field) for field in fields)
    _sources.append((frozenset(field.name for field in fields), values))


def all_fields() -> dict[str, Field]:
    """Every field there is, by name."""
    return dict(_fields)


def values_of(commission: Commission, names: Collection[str] | None = None) -> dict[str, str]:
    """What to put in for these names (`None`: for all); "" where there is nothing. Unknown names are left
    out. A fixed number of statements."""
    wanted = set(_fields) if names is None else set(names)
    shop = the_shop()
    known: dict[str, str] = {}
    for theirs, values in _sources:
        if wanted & theirs:
            known |= values(commission, shop)
    return {name: known.get(name, "") for name in _fields if name in wanted}


def _of_commission(commission: Commission, shop: Shop) -> dict[str, str]:
    names = [piece.name for piece in commission.pieces.all()]
    today = today_at(shop)

    def on(value: date | None) -> str:
        return day(value, shop.locale, today) if value else ""

    return {
        "name": commission.client.name,
        "piece": names[0] if names else "",
        "pieces": said_pieces(names) if names else "",
        "number": commission.number,
        "start_date": on(commission.starts_on),
        "ready_date": on(commission.ready_on),
        "shop": shop.name,
        "shop_phone": shop.phone,
    }


register(
    _of_commission,
    Field("name", "the client’s name"),
    Field("piece", "the first piece", "There is no piece yet."),
    Field("pieces", "all pieces", "There is no piece yet."),
    Field("number", "the commission’s number"),
    Field("start_date", "the day work can start", "There is no day yet on which work can start."),
    Field("ready_date", "the day it should be ready", "There is no ready date yet."),
    Field("shop", "the shop’s name"),
    Field("shop_phone", "the shop’s phone number", "The shop’s phone number is not written down."),
)
