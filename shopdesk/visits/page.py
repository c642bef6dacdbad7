"""The page with the free times of one kind of visit. The client and the owner have the same; the owner is not
held to the notice."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission
from shopdesk.craft.slots import Slot
from shopdesk.shop.models import Shop
from shopdesk.visits import actions, queries
from shopdesk.visits.forms import SiteForm, TimeForm
from shopdesk.visits.models import Visit
from shopdesk.visits.words import ASKS, WHAT, place_lines, said_span, said_time

DAYS_AT_A_TIME = 5


def kind_of(kind: str) -> Visit.Kind:
    """The kind that an address names. Raises `Http404`."""
    if kind not in Visit.Kind.values:
        raise Http404
    return Visit.Kind(kind)


def choose(
    request: HttpRequest,
    shop: Shop,
    commission: Commission,
    kind: Visit.Kind,
    who: Who,
    *,
    landing: str,
    template: str,
    extra: dict[str, Any],
) -> HttpResponse:
    """Show the free times, or book the one that was pressed and go on to `landing`."""
    asks_where = kind == Visit.Kind.SITE and not commission.client.address_lines
    form = (SiteForm if asks_where else TimeForm)(request.POST or None)
    status = 422 if form.errors else 200
    if request.method == "POST" and form.is_valid():

        def do() -> str:
            typed = form.cleaned_data
            actions.book(commission, kind, typed["start"], who, address=typed.get("address", ""))
            return landing

        try:
            onward = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
            status = 409
        else:
            if visit := queries.booked(commission, kind):
                messages.success(request, f"Booked: {said_time(shop, visit.starts_at, visit.ends_at)}.")
            return HttpResponseRedirect(onward)
    now = timezone.now()
    commission.refresh_from_db(fields=["stage", "checked_in_on"])
    visit = queries.booked(commission, kind)
    why_not = actions.not_now(commission, kind)
    late = "" if visit is None or who.is_owner else actions.too_late(shop, visit, now)
    times = [] if why_not or late else queries.free(now, for_owner=who.is_owner, moving=visit)
    return render(
        request,
        template,
        {
            **extra,
            "commission": commission,
            "pieces": said_pieces([piece.name for piece in commission.pieces.all()]),
            "kind": kind,
            "what": WHAT[kind],
            "asks": ASKS[kind],
            "shop_comes": kind == Visit.Kind.SITE,
            "place": ", ".join(place_lines(shop, commission, kind)),
            "visit": visit,
            "visit_said": said_time(shop, visit.starts_at, visit.ends_at) if visit else "",
            "why_not": why_not,
            "late": late,
            "may_cancel": visit is not None and not late,
            "span": said_span(shop.book_days_ahead),
            "form": form,
            **_some_days(request, shop, times),
        },
        status=status,
    )


def _some_days(request: HttpRequest, shop: Shop, times: list[Slot]) -> dict[str, Any]:
    """The days that the page shows, from `?from=` on."""
    try:
        first = date.fromisoformat(request.GET.get("from", ""))
    except ValueError:
        first = date.min
    days = queries.by_day(times, shop.tz)
    shown = [(day, slots) for day, slots in days if day >= first] or days
    rest = shown[DAYS_AT_A_TIME:]
    return {
        "days": shown[:DAYS_AT_A_TIME],
        "later": rest[0][0] if rest else None,
        "earlier": bool(days) and shown[0][0] != days[0][0],
    }


def call_off(
    request: HttpRequest, commission: Commission, kind: Visit.Kind, who: Who, *, page: str
) -> HttpResponseRedirect:
    """One press: cancel the visit, and stay on `page`."""

    def do() -> str:
        visit = queries.booked(commission, kind)
        if visit is None:
            raise Refused("There is no time booked to cancel.")
        actions.cancel(visit, who)
        return page

    return pressed(request, do, back=page, said="Cancelled. That time is free again.")


def calendar_response(shop: Shop, commission: Commission, kind: Visit.Kind) -> HttpResponse:
    """The booked visit as a file for a calendar. Raises `Http404` without one."""
    visit = queries.booked(commission, kind)
    if visit is None:
        raise Http404
    answer = HttpResponse(
        actions.calendar_file(shop, commission, visit),
        content_type="text/calendar; method=PUBLISH; charset=utf-8",
    )
    answer["Content-Disposition"] = f'attachment; filename="{kind}.ics"'
    return answer
