"""Ranges that went out, and what pieces came to before."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from shopdesk.ballpark.models import Ballpark
from shopdesk.ballpark.reckoning import Past
from shopdesk.ballpark.sizes import kind_of, size_of
from shopdesk.commissions.models import Commission, Piece, Stage
from shopdesk.deposits.models import Account

MOST_JOBS = 200
"""The newest; what was agreed before them says little of today's prices."""


def ballparks_of(commission: Commission) -> list[Ballpark]:
    """All that went out, newest first."""
    return list(Ballpark.objects.filter(commission=commission).order_by("-id"))


def ballpark_of(commission: Commission) -> Ballpark | None:
    """The one that counts."""
    return Ballpark.objects.filter(commission=commission).order_by("-id").first()


def past_jobs(currency: str) -> list[Past]:
    """What the newest jobs came to a piece, by the price that was accepted, where all pieces of a job are of
    one kind: the price of a mixed job cannot be told apart. Cancelled ones are left out. Two statements."""
    accounts = Account.objects.filter(currency=currency, price__gt=0).exclude(
        commission__stage=Stage.CANCELLED
    )
    prices = dict(accounts.order_by("-pk").values_list("commission_id", "price")[:MOST_JOBS])
    pieces: dict[int, list[Piece]] = defaultdict(list)
    for piece in Piece.objects.filter(commission__in=list(prices)):
        pieces[piece.commission_id].append(piece)
    found = []
    for commission_id, price in prices.items():
        job = pieces[commission_id]
        kinds = {kind_of(piece.name) for piece in job}
        if len(kinds) != 1 or "other" in kinds:
            continue
        (kind,) = kinds
        sizes = {size_of(kind, piece.width_mm, piece.depth_mm, piece.height_mm) for piece in job}
        if len(sizes) == 1:
            number = sum(piece.count for piece in job)
            found.append(Past(kind, sizes.pop(), price / Decimal(number)))
    return found
