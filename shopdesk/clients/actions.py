"""Clients and their ways in."""

from __future__ import annotations

from django.db import transaction
from django.db.models import F

from shopdesk.base.refusals import Refused
from shopdesk.clients.models import Client, Grant
from shopdesk.clients.queries import stopped_in_the_mailbox
from shopdesk.clients.stopping import COLUMN
from shopdesk.look.said import one_line


@transaction.atomic
def know_client(*, name: str, email: str, phone: str, address: str = "", by_voice: bool = False) -> Client:
    """The client with this name and way to reach them, or a new one with a grant. Two people who share an
    address stay two: only the same name with the same email (or, without one, the same phone) is the same
    client.

    `by_voice`: the owner has spoken with them. Then somebody known by name and phone alone who gives an email
    now is the same client too, and can be written to from now on. Not so on the request page, where whoever
    knew a name and a number could have somebody else's link sent to themselves.
    """
    name, email, phone = one_line(name), email.strip().lower(), phone.strip()
    same = Client.objects.filter(name__iexact=name)
    known = None
    if email:
        known = same.filter(email=email).first()
        if known is None and phone and by_voice:
            known = same.filter(email="", phone=phone).first()
            if known is not None:
                Client.objects.filter(pk=known.pk).update(email=email)
                known.email = email
                _keep_stopped(known)
    elif phone:
        known = same.filter(email="", phone=phone).first()
    if known is None:
        known = Client.objects.create(name=name, email=email, phone=phone, address=address)
        _keep_stopped(known)
        Grant.objects.create(client=known)
    elif phone and by_voice and not known.phone:  # a stranger could have a link texted to their own number
        Client.objects.filter(pk=known.pk).update(phone=phone)
        known.phone = phone
    return known


@transaction.atomic
def correct(client: Client, *, name: str, email: str, phone: str, address: str) -> list[str]:
    """Put right who a client is and how they are reached. Returns which of these changed ("email"), in
    order. `client` holds what is kept by now. Raises `Refused` for a client whom nobody could reach."""
    typed = {
        "name": one_line(name),
        "email": email.strip().lower(),
        "phone": phone.strip(),
        "address": "\n".join(line.strip() for line in address.splitlines() if line.strip()),
    }
    if not any(char.isalpha() for char in typed["name"]):
        raise Refused("Write their name.", field="name")
    if not typed["email"] and not typed["phone"]:
        raise Refused("Keep a phone number or an email address, so that you can reach them.", field="email")
    kept = Client.objects.select_for_update().get(pk=client.pk)
    changed = [field for field, value in typed.items() if getattr(kept, field) != value]
    if changed:
        Client.objects.filter(pk=client.pk).update(**typed)
    for field, value in typed.items():
        setattr(client, field, value)
    if "email" in changed:
        _keep_stopped(client)
    return changed


def _keep_stopped(client: Client) -> None:
    """Somebody has come to a mailbox: what was stopped there comes to them neither."""
    stopped = stopped_in_the_mailbox(client.email)
    for column, since in stopped.items():
        Client.objects.filter(pk=client.pk, **{column: None}).update(**{column: since})
    if stopped:
        client.refresh_from_db(fields=COLUMN.values())


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
