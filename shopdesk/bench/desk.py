"""The owner moves the stage from the commission's page."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.bench import actions
from shopdesk.bench.forms import CancelForm, CheckInForm, HoldForm
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import at_desk
from shopdesk.deposits.queries import standing
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.queries import today_at

Move = Callable[[Commission, Who, str, str], None]
_MOVES: dict[str, tuple[Move, str]] = {
    "begin-work": (lambda c, who, note, past: actions.begin_work(c, who, note=note), "On the bench."),
    "set-to-dry": (lambda c, who, note, past: actions.set_to_dry(c, who, note=note), "Drying."),
    "first-coat": (
        lambda c, who, note, past: actions.first_coat(c, who, past=past),
        "First coat of colour written down.",
    ),
    "ready": (
        lambda c, who, note, past: actions.make_ready(c, who, note=note, past=past),
        "Ready. The client is asked for a time.",
    ),
    "hand-over": (lambda c, who, note, past: actions.hand_over(c, who, note=note, past=past), "Handed over."),
    "book-place": (lambda c, who, note, past: actions.book_place(c, who), "Booked; the client is told."),
    "take-up-again": (lambda c, who, note, past: actions.take_up_again(c, who, note=note), "Taken up again."),
}


@desk_view
@require_POST
def move(request: DeskRequest, number: str, verb: str) -> HttpResponseBase:
    """One press: `begin-work`, `set-to-dry`, `first-coat`, `ready`, `hand-over`, `book-place`,
    `take-up-again`; with `note`, and `past`, the reason to step past a house rule."""
    if verb not in _MOVES:
        raise Http404
    commission = at_desk(number)
    act, said = _MOVES[verb]
    page = reverse("desk:commission", args=[number])

    def do() -> str:
        act(
            commission,
            owner_of(request),
            request.POST.get("note", "")[:300],
            request.POST.get("past", "")[:300],
        )
        return page

    return pressed(request, do, back=f"{page}#move", said=said)


def _form_page(
    request: DeskRequest, commission: Commission, form: Form, act: Callable[[], None], template: str
) -> HttpResponseBase:
    """A form about one commission: act and go back to its page, or show what is wrong."""
    if request.method == "POST" and form.is_valid():

        def do() -> str:
            act()
            return reverse("desk:commission", args=[commission.number])

        try:
            return HttpResponseRedirect(once(submission_key(request), do))
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
    page: HttpResponse = render(
        request,
        template,
        {"nav": "commissions", "commission": commission, "form": form},
        status=422 if form.errors else 200,
    )
    return page


@desk_view
@require_http_methods(["GET", "POST"])
def check_in(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = CheckInForm(request.POST or None, initial={"on": today_at(request.shop)})

    def act() -> None:
        actions.check_in(
            commission, form.cleaned_data["on"], owner_of(request), note=form.cleaned_data["note"]
        )
        messages.success(request, "Checked in.")

    return _form_page(request, commission, form, act, "bench/check_in.html")


@desk_view
@require_http_methods(["GET", "POST"])
def hold(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = HoldForm(request.POST or None)

    def act() -> None:
        actions.hold(commission, form.cleaned_data["note"], owner_of(request), tell=form.cleaned_data["tell"])

    return _form_page(request, commission, form, act, "bench/hold.html")


@desk_view
@require_http_methods(["GET", "POST"])
def cancel(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    money = standing(commission)
    received = money.received - money.refunded if money else Decimal(0)
    form = CancelForm(
        request.POST or None,
        received=received,
        currency=money.currency if money else request.shop.currency,
        initial={"on": today_at(request.shop)},
    )

    def act() -> None:
        typed = form.cleaned_data
        actions.cancel(
            commission,
            typed["reason"],
            owner_of(request),
            give_back=typed.get("give_back") or Decimal(0),
            how=typed.get("how", ""),
            on=typed.get("on"),
        )

    return _form_page(request, commission, form, act, "bench/cancel.html")
