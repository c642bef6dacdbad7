"""Clients by how they can be reached."""

from __future__ import annotations

from shopdesk.clients.models import Client, Grant


def grant_of(client: Client) -> Grant:
    return Grant.objects.get(client=client)


def clients_with_email(email: str) -> list[Client]:
    return list(Client.objects.filter(email=email.strip().lower()).order_by("id")[:5])


def sharing_the_mailbox(client: Client) -> list[Client]:
    """The client, and whoever else reads the same mailbox: what one of them stops comes to none."""
    others = Client.objects.filter(email=client.email).exclude(pk=client.pk) if client.email else []
    return [client, *others]
