"""What was said, and what waits for an answer."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Max, Min, Prefetch

from shopdesk.commissions.models import Commission, Shot
from shopdesk.conversation.models import Message


def messages_of(commission: Commission) -> list[Message]:
    """Everything that was said, oldest first, with its pictures."""
    return list(
        Message.objects.filter(commission=commission)
        .select_related("user")
        .prefetch_related(Prefetch("shots", Shot.objects.select_related("picture")))
        .order_by("at", "id")
    )


def shop_said_last(commission_ids: Iterable[int]) -> set[int]:
    """Of these commissions, those whose last message is the shop's. One statement."""
    rows = Message.objects.filter(commission__in=list(commission_ids)).order_by()
    last = rows.values("commission").annotate(last=Max("id")).values("last")
    return set(Message.objects.filter(pk__in=last, by_client=False).values_list("commission_id", flat=True))


def unanswered(most: int = 50) -> list[Message]:
    """The first unanswered message of each commission that has one, longest waiting first, with commission
    and client."""
    firsts = (
        Message.objects.filter(by_client=True, answered_at=None)
        .order_by()
        .values("commission")
        .annotate(first=Min("id"))
        .values("first")
    )
    rows = Message.objects.filter(pk__in=firsts).select_related("commission__client")
    return list(rows.order_by("at", "id")[:most])
