"""The owner names a first idea of the price."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.ballpark import actions
from shopdesk.ballpark.forms import PieceForm, RangeForm
from shopdesk.ballpark.queries import ballparks_of, past_jobs
from shopdesk.ballpark.reckoning import Money, Range, reckon
from shopdesk.ballpark.words import said_span
from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import at_desk
from shopdesk.pricebook.queries import schedules
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.models import Shop


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def ballpark(request: DeskRequest, number: str) -> HttpResponseBase:
    """Choose what each piece is, and the range appears with how it came about; change either end, look at the
    words, send them. Three presses: `work` takes over the range worked out, `look` shows the words for what
    was typed, anything else sends."""
    commission, shop = at_desk(number), request.shop
    posted = request.POST if request.method == "POST" else None
    book = schedules()
    pieces = [
        PieceForm(posted, piece=piece, schedules=book, use_required_attribute=False)
        for piece in commission.pieces.all()
    ]
    chosen_well = all(form.is_valid() for form in pieces) if posted is not None else True
    found = _reckoned(pieces, shop) if chosen_well else None
    if posted is None or "work" in posted:
        ends = {"low": found.low, "high": found.high} if found else {}
        words = posted.get("words", "") if posted is not None else ""
        form = RangeForm(shop=shop, initial={**ends, "words": words}, use_required_attribute=False)
        preview = _said(ends.get("low"), ends.get("high"), shop)
        return _page(request, commission, pieces, form, found, preview, 200 if chosen_well else 422)
    form = RangeForm(posted, shop=shop, use_required_attribute=False)
    well = form.is_valid() and chosen_well
    ends_typed = form.ends
    preview = _said(*ends_typed, shop) if ends_typed else ""
    if not well or "look" in posted:
        return _page(request, commission, pieces, form, found, preview, 200 if well else 422)

    def do() -> str:
        low, high = form.cleaned_data["low"], form.cleaned_data["high"]
        how = list(found.how) if found else ["Neither your rates nor past jobs had anything to go by."]
        if found is None or (low, high) != (found.low, found.high):
            how.append(f"Put in by hand: {_said(low, high, shop)}.")
        words = form.cleaned_data["words"]
        actions.send(commission, low, high, words, owner_of(request), how=how)
        return reverse("desk:commission", args=[number])

    try:
        onward = once(submission_key(request), do)
    except Refused as no:
        form.add_error(no.field, no.sentence)
        return _page(request, commission, pieces, form, found, preview, 422 if no.field else 409)
    messages.success(request, "Sent. It binds nobody; the quote can follow when you have seen it.")
    return HttpResponseRedirect(onward)


def _reckoned(pieces: Sequence[PieceForm], shop: Shop) -> Range | None:
    counting = Money(
        currency=shop.currency,
        locale=shop.locale,
        tax_rate=shop.tax_rate,
        tax_labour=shop.tax_labour,
        system="us" if shop.units == Shop.Units.INCHES else "metric",
    )
    chosen = [form.chosen() for form in pieces]
    return reckon(chosen, past_jobs(shop.currency), actions.minimum_charge(shop), counting)


def _said(low: Decimal | None, high: Decimal | None, shop: Shop) -> str:
    if low is None or high is None or not 0 < low <= high:
        return ""
    return said_span(low, high, shop.currency, shop.locale)


def _page(
    request: HttpRequest,
    commission: Commission,
    pieces: Sequence[PieceForm],
    form: RangeForm,
    found: Range | None,
    preview: str,
    status: int,
) -> HttpResponseBase:
    context: dict[str, Any] = {
        "nav": "commissions",
        "commission": commission,
        "pieces": pieces,
        "form": form,
        "found": found,
        "preview": preview,
        "unchosen": any(one.schedules and not one["schedule"].value() for one in pieces),
        "sent": ballparks_of(commission),
        "too_late": commission.stage != Stage.REQUESTED,
    }
    return render(request, "ballpark/ballpark.html", context, status=status)
