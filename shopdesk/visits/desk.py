"""The owner books, moves and cancels for a client."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.commissions.queries import at_desk
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.visits.page import call_off, choose, kind_of


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def visit(request: DeskRequest, number: str, kind: str) -> HttpResponseBase:
    commission = at_desk(number)
    return choose(
        request,
        request.shop,
        commission,
        kind_of(kind),
        owner_of(request),
        landing=reverse("desk:commission", args=[number]),
        template="visits/desk.html",
        extra={"nav": "commissions"},
    )


@desk_view
@require_POST
def cancel(request: DeskRequest, number: str, kind: str) -> HttpResponseBase:
    commission = at_desk(number)
    page = reverse("desk:visit", args=[number, kind_of(kind)])
    return call_off(request, commission, kind_of(kind), owner_of(request), page=page)
