"""Clients and their ways in."""

from __future__ import annotations

from django.db import transaction
from django.db.models import F

from shopdesk.clients.models import Client, Grant


@transaction.atomic
def know_client(*, name: str, email: str, phone: str, address: str = "") -> Client:
    """The client with this name and way to reach them, or a new one with a grant. Two people who share an
    address stay two: only the same name with the same email (or, without one, the same phone) is the same
    client."""
    email, phone = email.strip().lower(), phone.strip()
    same = Client.objects.filter(name__iexact=name.strip())
    known = None
    if email:
        known = same.filter(email=email).first()
    elif phone:
        known = same.filter(email="", phone=phone).first()
    if known is None:
        known = Client.objects.create(name=name.strip(), email=email, phone=phone, address=address)
        Grant.objects.create(client=known)
    elif phone and not known.phone:
        Client.objects.filter(pk=known.pk).update(phone=phone)
        known.phone = phone
    return known


@transaction.atomic
def note_address(client: Client, address: str) -> None:
    """Keep where a client lives, where that is not known yet: what is known is not written over. `client`
    holds what is kept by now."""
    lines = [line.strip() for line in address.splitlines() if line.strip()]
    if lines:
        Client.objects.filter(pk=client.pk, address="").update(address="\n".join(lines))
    client.refresh_from_db(fields=["address"])


@transaction.atomic
def revoke_links(client: Client) -> None:
    """Make every link that was given out worthless, and every session that came from one."""
    Grant.objects.filter(client=client).update(version=F("version") + 1)
