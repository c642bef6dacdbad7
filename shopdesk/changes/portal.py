"""The client reads what was found, and says yes or no."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.changes import actions
from shopdesk.changes.forms import AcceptForm, DeclineForm
from shopdesk.changes.models import Change
from shopdesk.changes.queries import change_of
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import of_client


@client_view
@require_GET
def change(request: ClientRequest, number: str, change: int) -> HttpResponseBase:
    commission = of_client(request.client, number)
    return _page(request, commission, change_of(commission, change))


@client_view
@require_POST
def accept(request: ClientRequest, number: str, change: int) -> HttpResponseBase:
    commission = of_client(request.client, number)
    one = change_of(commission, change)
    form = AcceptForm(request.POST)
    if not form.is_valid():
        return _page(request, commission, one, form=form, status=422)

    def do() -> str:
        actions.accept(one.pk, form.cleaned_data["name"], client_of(request))
        return reverse("portal:change", args=[number, change])

    try:
        landing = once(submission_key(request), do)
    except Refused as no:
        form.add_error(no.field if no.field in form.fields else None, no.sentence)
        status = 422 if no.field in form.fields else 409
        return _page(request, commission, change_of(commission, change), form=form, status=status)
    messages.success(request, "Thank you. It is agreed, and a copy is on its way to you.")
    return HttpResponseRedirect(landing)


@client_view
@require_POST
def decline(request: ClientRequest, number: str, change: int) -> HttpResponseBase:
    commission = of_client(request.client, number)
    one = change_of(commission, change)
    form = DeclineForm(request.POST)
    if not form.is_valid():
        return _page(request, commission, one, no_form=form, status=422)
    here = reverse("portal:change", args=[number, change])

    def do() -> str:
        actions.decline(one.pk, form.cleaned_data["reason"], client_of(request))
        return here

    return pressed(request, do, back=here, said="We have your answer. What was agreed before holds.")


def _page(
    request: ClientRequest,
    commission: Commission,
    one: Change,
    *,
    form: AcceptForm | None = None,
    no_form: DeclineForm | None = None,
    status: int = 200,
) -> HttpResponse:
    can = one.is_open and commission.stage in actions.CHANGEABLE
    refused = ""
    if not can and form is not None:
        refused = " ".join(str(error) for errors in form.errors.values() for error in errors)
    page: HttpResponse = render(
        request,
        "changes/show.html",
        {
            "client": request.client,
            "commission": commission,
            "change": one,
            "content": one.frozen,
            "can_answer": can,
            "refused": refused,
            "form": form or AcceptForm(),
            "no_form": no_form or DeclineForm(),
        },
        status=status,
    )
    return page
