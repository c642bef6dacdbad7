"""Clients by how they can be reached."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Min

from shopdesk.clients.models import Client, Grant
from shopdesk.clients.stopping import COLUMN


def grant_of(client: Client) -> Grant:
    return Grant.objects.get(client=client)


def clients_with_email(email: str) -> list[Client]:
    return list(Client.objects.filter(email=email.strip().lower()).order_by("id")[:5])


def sharing_the_mailbox(client: Client) -> list[Client]:
    """The client, and whoever else reads the same mailbox: what one of them stops comes to none."""
    others = Client.objects.filter(email=client.email).exclude(pk=client.pk) if client.email else []
    return [client, *others]


def stopped_in_the_mailbox(email: str) -> dict[str, datetime]:
    """What somebody who reads this mailbox has switched off: since when, by the name of the column."""
    if not email:
        return {}
    since = Client.objects.filter(email=email).aggregate(**{one: Min(one) for one in COLUMN.values()})
    return {column: moment for column, moment in since.items() if moment is not None}
