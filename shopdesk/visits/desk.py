"""The owner books, moves and cancels for a client."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.press import pressed
from shopdesk.commissions.queries import at_desk
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.visits import actions
from shopdesk.visits.models import Visit
from shopdesk.visits.page import call_off, choose, kind_of
from shopdesk.visits.queries import offered


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
        extra={"nav": "commissions", "offered": offered(commission)},
    )


@desk_view
@require_POST
def offer(request: DeskRequest, number: str) -> HttpResponseBase:
    """Offer to come and look."""
    commission = at_desk(number)
    page = reverse("desk:visit", args=[number, Visit.Kind.SITE.value])

    def do() -> str:
        actions.offer_site_visit(commission, owner_of(request))
        return reverse("desk:commission", args=[number])

    return pressed(request, do, back=page, said="Offered. They choose a time on their page.")


@desk_view
@require_POST
def cancel(request: DeskRequest, number: str, kind: str) -> HttpResponseBase:
    commission = at_desk(number)
    page = reverse("desk:visit", args=[number, kind_of(kind)])
    return call_off(request, commission, kind_of(kind), owner_of(request), page=page)
