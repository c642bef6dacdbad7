"""Reminders and emails about progress at the desk: switched off and on for the shop, for a client and for a
commission."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.http import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.press import pressed
from shopdesk.clients.models import Client
from shopdesk.clients.stopping import COLUMN, SORTS, Sort
from shopdesk.commissions import reminders
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import at_desk
from shopdesk.commissions.switches import SAID, kinds_off, switch, switch_kind
from shopdesk.mail.catalogue import About
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.queries import today_at


@dataclass(frozen=True)
class KindRow:
    """One kind of reminder on a list with presses."""

    about: About
    off: bool
    off_for_all: bool = False


@dataclass(frozen=True)
class SortRow:
    """One sort of a client's emails, and since when it is off."""

    sort: Sort
    said: str
    off_since: datetime | None


def of_client(commission: Commission) -> dict[str, object]:
    """What a client's page says about what they are sent."""
    client = commission.client
    off, off_for_all = kinds_off(client=client), kinds_off()
    return {
        "sorts": [SortRow(sort, SAID[sort], getattr(client, COLUMN[sort])) for sort in SORTS],
        "kinds": [
            KindRow(kind.about, kind.kind in off, kind.kind in off_for_all) for kind in reminders.kinds()
        ],
    }


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def shop_reminders(request: DeskRequest) -> HttpResponseBase:
    """Every reminder the shop sends: what it is, when it goes, and whether it does."""
    page = reverse("desk:reminders")
    if request.method == "POST":
        return _kind_pressed(request, page, "")
    off = kinds_off()
    rows = [KindRow(kind.about, kind.kind in off) for kind in reminders.kinds()]
    return render(
        request,
        "desk/reminders.html",
        {
            "nav": "shop",
            "kinds": rows,
            "morning": reminders.morning(request.shop, today_at(request.shop)),
        },
    )


@desk_view
@require_POST
def commission_reminders(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    page = f"{reverse('desk:commission', args=[number])}#reminders"
    return _kind_pressed(request, page, " here", commission=commission)


@desk_view
@require_POST
def client_emails(request: DeskRequest, number: str) -> HttpResponseBase:
    """A whole sort (`sort`) or one kind of reminder (`kind`), off or on for a client."""
    client = at_desk(number).client
    page = f"{reverse('desk:client', args=[number])}#emails"
    sort = next((one for one in SORTS if request.POST.get("sort") == one), None)
    if sort is None:
        return _kind_pressed(request, page, f" for {client.name}", client=client)
    on = request.POST.get("press") == "on"

    def do() -> str:
        switch([client], sort, on=on, who=owner_of(request))
        return page

    said = f"{SAID[sort].capitalize()} are switched {'on' if on else 'off'} for {client.name}."
    return pressed(request, do, back=page, said=said)


def _kind_pressed(
    request: DeskRequest,
    page: str,
    whose: str,
    *,
    client: Client | None = None,
    commission: Commission | None = None,
) -> HttpResponseBase:
    kind, on = request.POST.get("kind", ""), request.POST.get("press") == "on"
    title = next((one.about.title for one in reminders.kinds() if one.kind == kind), "")

    def do() -> str:
        switch_kind(kind, on=on, who=owner_of(request), client=client, commission=commission)
        return page

    return pressed(request, do, back=page, said=f"“{title}” is switched {'on' if on else 'off'}{whose}.")
