"""Clients by how they can be reached."""

from __future__ import annotations

from shopdesk.clients.models import Client, Grant


def grant_of(client: Client) -> Grant:
    return Grant.objects.get(client=client)


def clients_with_email(email: str) -> list[Client]:
    return list(Client.objects.filter(email=email.strip().lower()).order_by("id")[:5])
