"""The owner writes down what was paid, takes a mistake back, gives money back, lets a deposit off."""

from __future__ import annotations

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import at_desk
from shopdesk.deposits import actions, invoices
from shopdesk.deposits.forms import CorrectForm, LetOffForm, PaymentForm, RefundForm, ReverseForm
from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import invoice_that_counts, invoices_of, standing
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "POST"])
def payment(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    account = standing(commission)
    if account is None:
        return _page(request, commission, None, "deposits/payment.html")
    form = PaymentForm(request.POST or None, shop=request.shop, standing=account)

    def do() -> None:
        typed = form.cleaned_data
        actions.record_payment(
            commission, typed["amount"], form.day, typed["how"], typed["note"], owner_of(request)
        )

    return _written(
        request, commission, form, do, "deposits/payment.html", "Written down; the receipt is on its way."
    )


@desk_view
@require_http_methods(["GET", "POST"])
def reverse(request: DeskRequest, number: str, entry_id: int) -> HttpResponseBase:
    commission = at_desk(number)
    entries = Entry.objects.select_related("receipt", "reversal")
    entry = get_object_or_404(entries, pk=entry_id, account__commission=commission)
    form = ReverseForm(request.POST or None)

    def do() -> None:
        actions.reverse(entry, form.cleaned_data["note"], owner_of(request))

    return _written(request, commission, form, do, "deposits/reverse.html", "It counts no more.", entry=entry)


@desk_view
@require_http_methods(["GET", "POST"])
def refund(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    account = standing(commission)
    if account is None or not account.held:
        return _page(request, commission, None, "deposits/refund.html")
    form = RefundForm(request.POST or None, shop=request.shop, standing=account)

    def do() -> None:
        typed = form.cleaned_data
        actions.refund(
            commission, typed["amount"], form.day, typed["how"], typed["note"], owner_of(request),
            owed_again=typed["owed_again"],
        )  # fmt: skip

    return _written(
        request, commission, form, do, "deposits/refund.html", "Written down; the client is told."
    )


@desk_view
@require_http_methods(["GET", "POST"])
def let_off(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = LetOffForm(request.POST or None)

    def do() -> None:
        actions.let_off(commission, form.cleaned_data["reason"], owner_of(request))

    return _written(request, commission, form, do, "deposits/let_off.html", "Booked without the deposit.")


@desk_view
@require_http_methods(["GET", "POST"])
def invoice(request: DeskRequest, number: str) -> HttpResponseBase:
    """The invoice: issued by a press; once it is out, taken back and issued anew with the reason why."""
    commission = at_desk(number)
    so_far = invoices_of(commission)
    out = invoice_that_counts(so_far)
    context = {"invoices": so_far, "out": out}
    here = address("desk:invoice", args=[number])
    if out is None:
        if request.method == "POST":

            def issue() -> str:
                invoices.issue(commission, owner_of(request))
                return here

            return pressed(request, issue, back=here, said="Issued; it is on its way to them.")
        return _page(request, commission, None, "deposits/invoice.html", **context)
    form = CorrectForm(request.POST or None)

    def do() -> None:
        invoices.correct(out, form.cleaned_data["reason"], owner_of(request))

    said = "Taken back; what takes its place is on its way to them."
    return _written(request, commission, form, do, "deposits/invoice.html", said, **context)


def _written(
    request: DeskRequest,
    commission: Commission,
    form: forms.Form,
    do: Callable[[], None],
    template: str,
    said: str,
    **context: object,
) -> HttpResponseBase:
    """Do what the form says, once, and go back to the commission; or show the form with what is wrong."""
    landing = address("desk:commission", args=[commission.number])

    def done() -> str:
        do()
        return landing

    if request.method == "POST" and form.is_valid():
        try:
            once(submission_key(request), done)
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
        else:
            messages.success(request, said)
            return HttpResponseRedirect(landing)
    return _page(request, commission, form, template, **context)


def _page(
    request: DeskRequest, commission: Commission, form: forms.Form | None, template: str, **context: object
) -> HttpResponse:
    return render(
        request,
        template,
        {
            "nav": "commissions",
            "commission": commission,
            "standing": standing(commission),
            "form": form,
            "at_desk": True,
            **context,
        },
        status=422 if form is not None and form.errors else 200,
    )
