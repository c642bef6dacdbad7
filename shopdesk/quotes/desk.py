"""The owner writes a quote, reads it through, sends it; writes down a yes; says no to a request."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import at_desk
from shopdesk.pricebook import queries as book
from shopdesk.quotes import actions
from shopdesk.quotes.answers import DeclineRequestForm, RecordForm
from shopdesk.quotes.content import content_of
from shopdesk.quotes.glance import glance, taken
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import acceptance_of, draft_alone, draft_of, history, open_quote, revision_of
from shopdesk.quotes.sheet import QuoteSheet
from shopdesk.quotes.showing import changes_in, pictures_in
from shopdesk.quotes.sums import missing, sums_of
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at

KIND_NO = (
    "Dear {name},\n\n"
    "thank you for asking us about your {pieces}. We have looked at it with care, and it is not work that we "
    "can take on.\n\n"
    "We hope that it finds somebody who can.\n"
)


@desk_view
@require_http_methods(["GET", "POST"])
def quote(request: DeskRequest, number: str) -> HttpResponseBase:
    """Write the draft: begin it, add and take away rows, keep it. Looking at it changes nothing."""
    commission = at_desk(number)
    here = reverse("desk:quote", args=[number])
    if request.method == "POST" and "start" in request.POST:
        return pressed(request, lambda: _started(commission, request), back=here)
    draft = draft_of(commission)
    if draft is None or acceptance_of(commission) is not None:
        return _before(request, commission)
    if request.method != "POST":
        return _sheet(request, commission, draft, QuoteSheet(request.shop, draft, commission))
    sheet = QuoteSheet(request.shop, draft, commission, request.POST)
    if QuoteSheet.is_press(request.POST):
        sheet.press(request.POST)
        return _sheet(request, commission, draft, sheet)
    status = 422
    if sheet.is_valid():
        read = "read" in request.POST
        edition = sheet.head.cleaned_data["edition"]

        def keep() -> str:
            kept = actions.save(commission, sheet.typed(), edition, owner_of(request))
            return reverse("desk:quote-revision", args=[number, kept.revision]) if read else here

        try:
            landing = once(submission_key(request), keep)
        except actions.Older as no:
            sheet.said.append(
                f"{no.sentence} What you typed is still here. Press Keep again to put yours in its place, "
                "or open the page afresh to see the other."
            )
            sheet.newer_edition = no.edition
            status = 409
        except actions.Faulty as no:
            for fault in no.faults:
                sheet.blame(fault)
        except Refused as no:
            sheet.said.append(no.sentence)
        else:
            if not read:
                messages.success(request, "Kept.")
            return HttpResponseRedirect(landing)
    return _sheet(request, commission, draft, sheet, status=status)


def _started(commission: Commission, request: DeskRequest) -> str:
    actions.start(commission, owner_of(request))
    return reverse("desk:quote", args=[commission.number])


def _before(request: DeskRequest, commission: Commission) -> HttpResponse:
    """There is no draft: offer to begin one, or say why not."""
    return render(
        request,
        "quotes/before.html",
        {
            "nav": "commissions",
            "commission": commission,
            "quotes": history(commission),
            "acceptance": acceptance_of(commission),
            "quotable": commission.stage in actions.QUOTABLE,
        },
    )


def _sheet(
    request: DeskRequest, commission: Commission, draft: Quote, sheet: QuoteSheet, status: int = 200
) -> HttpResponse:
    context = {
        "nav": "commissions",
        "commission": commission,
        "quote": draft,
        "sheet": sheet,
        **_summed(sheet, request.shop),
    }
    return render(request, "quotes/write.html", context, status=status)


def _summed(sheet: QuoteSheet, shop: Shop) -> dict[str, Any]:
    """What the sums beside the form show: of what can be read so far."""
    try:
        found = sheet.sums()
    except ValueError as error:
        return {"trouble": str(error)}
    totals = found.plain.totals
    pieces = [
        (row.form["name"].value() or f"Piece {place}", totals.pieces[row.key])
        for place, row in enumerate(sheet.pieces, start=1)
    ]
    return {
        "piece_sums": pieces if len(pieces) > 1 else [],
        "sums": sums_of(found.plain, sheet.quote, shop.locale, found.open_still),
        "lowest": found.lowest,
        "highest": found.highest,
        "total": totals.total,
        "uncounted": found.uncounted,
        "glance": glance(found.plain, taken(sheet.pieces), book.rates(), sheet.quote, shop.locale),
    }


@desk_view
@require_POST
def quote_sums(request: DeskRequest, number: str) -> HttpResponseBase:
    """The sums of what is being typed. Keeps nothing."""
    draft = draft_alone(number)
    if draft is None:
        at_desk(number)
        return HttpResponse(status=204)
    sheet = QuoteSheet(request.shop, draft, draft.commission, request.POST, only_sums=True)
    context = {"quote": draft, "sheet": sheet, **_summed(sheet, request.shop)}
    page: HttpResponse = render(request, "quotes/_live.html", context)
    return page


@desk_view
@require_POST
def quote_send(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    edition = request.POST.get("edition", "")

    def do() -> str:
        actions.send(
            commission,
            int(edition) if edition.isascii() and edition.isdigit() and len(edition) < 10 else 0,
            owner_of(request),
        )
        return reverse("desk:commission", args=[number])

    draft = draft_of(commission)
    back = (
        reverse("desk:quote-revision", args=[number, draft.revision])
        if draft
        else reverse("desk:quote", args=[number])
    )
    return pressed(request, do, back=back, said=f"On its way to {commission.client.name}.")


@desk_view
@require_GET
def quote_revision(request: DeskRequest, number: str, revision: int) -> HttpResponseBase:
    """Read a revision through: a draft as it would go out, or what did go out."""
    commission = at_desk(number)
    one = revision_of(commission, revision, draft=True)
    today = today_at(request.shop)
    lacking = missing(one, today) if one.is_draft else []
    try:
        content = one.frozen or content_of(one, commission, request.shop, today)
    except ValueError as error:  # a draft whose figures do not add up (the sentence is for the owner)
        lacking, content = [str(error)], None
    page: HttpResponse = render(
        request,
        "quotes/read.html",
        {
            "nav": "commissions",
            "commission": commission,
            "quote": one,
            "content": content,
            "pictures": pictures_in(content),
            "missing": lacking,
            "expired": one.expired(today),
            "acceptance": getattr(one, "acceptance", None),
            "draft": draft_of(commission),
            "at_desk": True,
            **changes_in(one, content),
        },
    )
    return page


@desk_view
@require_http_methods(["GET", "POST"])
def record_acceptance(request: DeskRequest, number: str) -> HttpResponseBase:
    """Write down a yes that was given on paper or by word of mouth."""
    commission = at_desk(number)
    out = open_quote(commission)
    if out is None or out.state != Quote.State.SENT:
        return _before(request, commission)
    form = RecordForm(
        request.POST or None,
        request.FILES or None,
        quote=out,
        name=commission.client.name,
        today=today_at(request.shop),
    )
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            typed = form.cleaned_data

            def do() -> str:
                actions.accept(
                    out.pk,
                    form.chosen,
                    typed["name"],
                    owner_of(request),
                    typed["way"],
                    typed["said_on"],
                    typed["note"],
                    form.paper_picture,
                )
                return reverse("desk:commission", args=[number])

            try:
                landing = once(submission_key(request), do)
            except Refused as no:
                form.add_error(no.field if no.field in form.fields else None, no.sentence)
            else:
                commission.refresh_from_db()
                waits = commission.stage == Stage.AGREED
                next_ = "The deposit is due now." if waits else "No deposit is needed: the place is booked."
                messages.success(request, f"Written down. {next_}")
                return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "quotes/record.html",
        {"nav": "commissions", "commission": commission, "quote": out, "form": form},
        status=status,
    )
    return page


@desk_view
@require_http_methods(["GET", "POST"])
def decline(request: DeskRequest, number: str) -> HttpResponseBase:
    """Say no to a request, in words that can be changed first."""
    commission = at_desk(number)
    pieces = " and ".join(piece.name for piece in commission.pieces.all())
    words = KIND_NO.format(name=commission.client.name, pieces=pieces)
    form = DeclineRequestForm(request.POST or None, initial={"words": words})
    if request.method == "POST" and form.is_valid():

        def do() -> str:
            actions.decline_request(commission, form.cleaned_data["words"], owner_of(request))
            return reverse("desk:commission", args=[number])

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            messages.success(request, f"{commission.client.name} is told.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "quotes/decline_request.html",
        {
            "nav": "commissions",
            "commission": commission,
            "form": form,
            "can": commission.stage == Stage.REQUESTED,
        },
        status=422 if form.errors else 200,
    )
    return page
