"""What was said, and what waits for an answer."""

from __future__ import annotations

from django.db.models import Prefetch

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
    """The first unanswered message of each client's commission, longest waiting first, with commission and
    client."""
    seen: set[int] = set()
    first = []
    for message in (
        Message.objects.filter(by_client=True, answered_at=None)
        .select_related("commission__client")
        .order_by("at", "id")[: most * 4]
    ):
        if message.commission_id not in seen:
            seen.add(message.commission_id)
            first.append(message)
    return first[:most]
