"""What was said, and what waits for an answer."""

from __future__ import annotations

from django.db.models import Min, Prefetch

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
