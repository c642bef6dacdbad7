"""What a client does on their page that belongs to no single step."""

from __future__ import annotations

from django.db import transaction

from shopdesk.base.who import Who
from shopdesk.clients.access import placeholder
from shopdesk.clients.queries import clients_with_email, grant_of
from shopdesk.commissions.letters import to_shop
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import advance, locked
from shopdesk.mail.actions import Person, write
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop


@transaction.atomic
def send_fresh_link(shop: Shop, email: str) -> None:
    """Send a link to their page to whoever is known by this address: in one email, though they may be
    several clients. Whether anybody is, nobody is told."""
    clients = clients_with_email(email)
    if not clients:
        return
    first = clients[0]
    pages = [{"whose": client.name, "page": placeholder(grant_of(client), "/my/")} for client in clients]
    write(
        "fresh-link",
        to=Person(first.name, first.email),
        sender=Person(shop.name, shop.email),
        context={
            "name": first.name,
            "shop_name": shop.name,
            "page": pages[0]["page"],
            "pages": pages if len(pages) > 1 else [],
        },
        thread=f"client {first.pk} link",
    )


def link_is_theirs(email: Email) -> bool:
    """Whether all whose pages an email leads to are still known by its address. It was asked for from there:
    where that was a mistake it must not go, and no other address has asked."""
    pages = {one["page"] for one in email.context.get("pages") or [email.context]}
    known = clients_with_email(email.to_address)
    return pages <= {placeholder(grant_of(client), "/my/") for client in known}


@transaction.atomic
def withdraw(commission: Commission, who: Who, why: str = "") -> None:
    """The client takes the request back, before anything was agreed. The owner is written to."""
    now = locked(commission.pk)
    quoted = now.stage == Stage.QUOTED
    why = " ".join(why.split())[:1000]
    advance(now, Stage.WITHDRAWN, who, note=why)
    to_shop(now, "withdrawn", {"reason": why, "quoted": "yes" if quoted else ""})
