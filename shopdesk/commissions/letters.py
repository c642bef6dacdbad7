"""Writing to the client and to the shop about a commission: the outbox row, its place in the commission,
and the thread."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.urls import reverse

from shopdesk.clients import stopping
from shopdesk.clients.access import placeholder
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.models import Commission, Letter
from shopdesk.mail.actions import Enclose, Person, write
from shopdesk.mail.catalogue import about
from shopdesk.mail.links import desk_placeholder
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop


def to_client(
    commission: Commission,
    kind: str,
    context: dict[str, Any],
    *,
    path: str = "",
    enclose: Sequence[Enclose] = (),
    gather: str = "",
    first_at_once: bool = False,
    due_at: datetime | None = None,
) -> Email | None:
    """Write to the client (or, for a client without email, put the words on the owner's list of what to
    tell). In the transaction that causes it. Returns `None`, and writes nothing, when it is news or a
    reminder and the client has that sort switched off: their page shows it all the same.

    `kind` names `templates/emails/<kind>.md`; it gets `context` and `name`, `shop_name`, `number`, `page`
    (a link to `path`, or to the commission's page) and `pieces`. Strings in the context are data and never
    markup.
    """
    shop = the_shop()
    client = commission.client
    sort = about(kind).sort
    if stopping.is_off(client, sort):
        return None
    grant = grant_of(client)
    page = placeholder(grant, path or reverse("portal:commission", args=[commission.number]))
    email = write(
        kind,
        to=Person(client.name, client.email),
        sender=Person(shop.name, shop.email),
        context={**_about(commission, shop), "page": page, "phone": client.phone, **context},
        thread=f"commission {commission.pk}",
        enclose=enclose,
        gather=gather,
        first_at_once=first_at_once,
        due_at=due_at,
        stop=stopping.placeholder(grant, sort),
    )
    Letter.objects.get_or_create(email=email, defaults={"commission": commission, "to_client": True})
    return email


def to_shop(
    commission: Commission,
    kind: str,
    context: dict[str, Any],
    *,
    path: str = "",
    enclose: Sequence[Enclose] = (),
    gather: str = "",
    first_at_once: bool = False,
) -> Email:
    """Write to the owner about a commission; `page` is the commission's page at the desk, or `path`."""
    shop = the_shop()
    page = desk_placeholder(path or reverse("desk:commission", args=[commission.number]))
    email = write(
        kind,
        to=Person(shop.name, shop.email),
        sender=Person(shop.name, shop.email),
        context={**_about(commission, shop), "page": page, **context},
        thread=f"commission {commission.pk} shop",
        enclose=enclose,
        gather=gather,
        first_at_once=first_at_once,
    )
    Letter.objects.get_or_create(email=email, defaults={"commission": commission, "to_client": False})
    return email


def _about(commission: Commission, shop: Shop) -> dict[str, Any]:
    return {
        "name": commission.client.name,
        "number": commission.number,
        "shop_name": shop.name,
        "shop_phone": shop.phone,
        "pieces": said_pieces([piece.name for piece in commission.pieces.all()]),
    }


def said_pieces(names: Sequence[str]) -> str:
    """ "writing desk, armchair and mirror": the pieces as one says them."""
    if not names:
        return "piece"
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"
