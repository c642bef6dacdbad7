"""Quotes for tests, written and sent as the desk does it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.quotes import actions
from shopdesk.quotes.models import Quote
from shopdesk.quotes.typed import TypedLine, TypedOption, TypedPiece, TypedQuote
from shopdesk.shop.queries import the_shop, today_at


def typed(commission: Commission, **other: Any) -> TypedQuote:
    """A desk for 560.00 of work and 118.40 of taxed materials; knobs for 72.50 (taxed) or the inside left as
    is for 40 less."""
    today = today_at(the_shop())
    piece = commission.pieces.get(position=1)
    values: dict[str, Any] = {
        "pieces": [
            TypedPiece(
                name=piece.name,
                words="Clean, re-glue the veneer, three coats.\nThe top natural.",
                piece_id=piece.pk,
                lines=[
                    TypedLine("preparation", "Clean and degrease", Decimal("40"), Decimal("2"), "h"),
                    TypedLine("finish", "Three coats", Decimal("480")),
                    TypedLine("materials", "Enamel and primer", Decimal("59.20"), Decimal("2"), "l", True),
                ],
            )
        ],
        "options": [
            TypedOption("New brass knobs, fitted", Decimal("72.50"), True),
            TypedOption("Inside left as it is", Decimal("-40")),
        ],
        "starts_on": today + timedelta(days=12),
        "ready_on": today + timedelta(days=33),
        "good_until": today + timedelta(days=14),
        "deposit_share": Decimal(50),
        "terms": "The deposit books the place.",
    }
    return TypedQuote(**{**values, **other})


def send(commission: Commission, who: Who, **other: Any) -> Quote:
    """A quote that is out: total 685.80 (678.40 and 7.40 tax), deposit 342.90."""
    draft = actions.start(commission, who)
    draft = actions.save(commission, typed(commission, **other), draft.edition, who)
    return actions.send(commission, draft.edition, who)
