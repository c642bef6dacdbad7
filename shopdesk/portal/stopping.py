"""Which emails a client gets: the link in an email that stops its sort (RFC 8058), and the page on which both
sorts are switched off and on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from shopdesk.base.limits import allow
from shopdesk.base.middleware import address_of
from shopdesk.base.press import pressed
from shopdesk.base.who import Who
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.clients.models import Client
from shopdesk.clients.queries import sharing_the_mailbox
from shopdesk.clients.stopping import SORTS, Sort, is_off, opened
from shopdesk.commissions.switches import SAID, switch

_ON_AGAIN_A_DAY = 10


@dataclass(frozen=True)
class Switch:
    """One sort of emails, and whether it is off."""

    sort: Sort
    said: str
    off: bool


@csrf_exempt  # RFC 8058, 3.2: the mail program posts for its reader, without cookies and without our page
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """What the link in an email leads to, for whoever holds it: no page of the client's. Opening it changes
    nothing, since mail scanners open links. A POST switches off at once, whether the mail program sends it or
    the press on the page does; only `press=on` switches on again. That is counted, the other never is."""
    found = opened(token)
    if found is None:
        return render(request, "portal/stop_old.html", status=404)
    client, sort = found
    done = ""
    if request.method == "POST":
        done = "on" if request.POST.get("press") == "on" else "off"
        if done == "on" and not allow(
            f"{sort} on again, client {client.pk}", most=_ON_AGAIN_A_DAY, span=timedelta(days=1)
        ):
            return render(request, "429.html", status=429)
        everyone = sharing_the_mailbox(client)
        switch(everyone, sort, on=done == "on", who=Who("client", client.pk, address_of(request)))
        client.refresh_from_db()
    context = {"switch": _switch(client, sort), "done": done}
    return render(request, "portal/stop.html", context)


@client_view
@require_http_methods(["GET", "HEAD", "POST"])
def emails(request: ClientRequest) -> HttpResponseBase:
    """Which emails the client gets. A press is `news off`, `reminder on` and the like."""
    page = reverse("portal:emails")
    sort = next((one for one in SORTS if request.POST.get("sort") == one), None)
    if request.method == "POST" and sort is not None:
        on = request.POST.get("press") == "on"
        everyone = sharing_the_mailbox(request.client)

        def do() -> str:
            switch(everyone, sort, on=on, who=client_of(request))
            return page

        said = f"{SAID[sort].capitalize()} are switched {'on' if on else 'off'}."
        return pressed(request, do, back=page, said=said)
    switches = [_switch(request.client, one) for one in SORTS]
    return render(request, "portal/emails.html", {"client": request.client, "switches": switches})


def _switch(client: Client, sort: Sort) -> Switch:
    return Switch(sort, SAID[sort], is_off(client, sort))
