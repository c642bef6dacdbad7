"""The client books, moves and cancels."""

from __future__ import annotations

from typing import cast

from django.http import HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.commissions.queries import of_client
from shopdesk.shop.middleware import shop_of
from shopdesk.shop.models import Shop
from shopdesk.visits.page import calendar_response, call_off, choose, kind_of


def _shop(request: ClientRequest) -> Shop:
    return cast(Shop, shop_of(request))  # a client cannot be in before there is a shop


@client_view
@require_http_methods(["GET", "HEAD", "POST"])
def visit(request: ClientRequest, number: str, kind: str) -> HttpResponseBase:
    commission = of_client(request.client, number)
    return choose(
        request,
        _shop(request),
        commission,
        kind_of(kind),
        client_of(request),
        landing=reverse("portal:commission", args=[number]),
        template="visits/portal.html",
        extra={"client": request.client},
    )


@client_view
@require_POST
def cancel(request: ClientRequest, number: str, kind: str) -> HttpResponseBase:
    commission = of_client(request.client, number)
    page = reverse("portal:visit", args=[number, kind_of(kind)])
    return call_off(request, commission, kind_of(kind), client_of(request), page=page)


@client_view
@require_safe
def ics(request: ClientRequest, number: str, kind: str) -> HttpResponseBase:
    return calendar_response(_shop(request), of_client(request.client, number), kind_of(kind))
