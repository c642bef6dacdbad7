"""What a change says, as strings ready to print: frozen when it is proposed, and shown by the PDF and the
pages alike."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from shopdesk.commissions.letterhead import letterhead
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission, Shot
from shopdesk.craft.rounding import EXACT
from shopdesk.deposits.queries import Standing
from shopdesk.deposits.words import Price, with_tax
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at

HOW_TO_ACCEPT = (
    "On your page you can accept it by typing your name, say no, or ask us something first. Or tick and sign "
    "here, and bring or send us this sheet. We do nothing of it before you have answered."
)


def content_of(
    commission: Commission,
    shop: Shop,
    *,
    number: int,
    reason: str,
    words: str,
    price: Price,
    later: date | None,
    days: int,
    shots: Sequence[Shot],
    account: Standing,
) -> dict[str, Any]:
    """Everything a change says on the day it goes out (`documents/change.html`). `later` is the day on which
    the piece is then ready, where that is known; `account` is where the money stands before it."""
    pieces = said_pieces([piece.name for piece in commission.pieces.all()])

    def amount(value: Decimal) -> str:
        return formats.amount(value, account.currency, shop.locale)

    tax = []
    if price.tax:
        rate = formats.number(account.account.tax_rate, shop.locale)
        tax = [
            ("Without tax", amount(price.net), "sum"),
            (f"{account.account.tax_name}, {rate} %", amount(price.tax), "sum"),
        ]
    paid = EXACT.subtract(account.price, account.due)
    after = EXACT.add(account.price, price.gross)
    this = "This change, tax included" if price.tax else "This change"
    sums = [
        *tax,
        (this, signed(amount(price.gross), price), "sum"),
        (f"Agreed until now{with_tax(account)}", amount(account.price), "sum"),
        ("Together", formats.money(after, account.currency, shop.locale), "total"),
        *([("Of that, paid or settled", amount(paid), "after")] if paid else []),
    ]
    return {
        **letterhead(shop, commission.client),
        "number": commission.number,
        "change": str(number),
        "title": f"A change to your {pieces}",
        "sent_on": formats.day(today_at(shop), shop.locale),
        "said": str(account.account.agreed.get("said", "")),
        "currency_code": account.currency,
        "reason": paragraphs(reason),
        "words": paragraphs(words),
        "price": amount(price.net),
        "price_words": price_words(price, account.currency, shop),
        "pictures": [
            {"ref": f"pictures:{shot.picture_id}:medium", "alt": f"What we found, picture {place}"}
            for place, shot in enumerate(shots, start=1)
        ],
        "sums": [{"label": label, "amount": said, "kind": kind} for label, said, kind in sums],
        "time_words": time_words(commission.ready_on, later, days, shop),
        "how_to_accept": HOW_TO_ACCEPT,
    }


def price_words(price: Price, currency: str, shop: Shop) -> str:
    """ "$127.50 more, tax included", "$40.00 less", "no more than was agreed"."""
    if not price.gross:
        return "no more than was agreed"
    said = formats.money(abs(price.gross), currency, shop.locale)
    more = "more" if price.gross > 0 else "less"
    return f"{said} {more}{', tax included' if price.tax else ''}"


def signed(said: str, price: Price) -> str:
    return f"+{said}" if price.gross > 0 else said


def time_words(ready_on: date | None, later: date | None, days: int, shop: Shop) -> list[str]:
    """What it does to the day on which the piece is ready."""
    if not days:
        return ["The day on which it is ready stays as it was."]
    longer = f"It takes {days} {'day' if days == 1 else 'days'} longer"
    if ready_on is None or later is None:
        return [f"{longer}."]
    was, is_ = formats.day(ready_on, shop.locale), formats.day(later, shop.locale)
    return [f"{longer}: ready about {is_} instead of {was}."]


def paragraphs(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
