"""The owner proposes a change, writes down an answer, takes it back, notes what the client said."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.changes import actions
from shopdesk.changes.forms import ChangeForm, RecordForm
from shopdesk.changes.queries import change_of, changes_of
from shopdesk.commissions.queries import at_desk
from shopdesk.deposits.queries import standing
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.queries import today_at


@desk_view
@require_http_methods(["GET", "POST"])
def propose(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    account = standing(commission)
    open_ = next((one for one in changes_of(commission) if one.is_open), None)
    context: dict[str, Any] = {"nav": "commissions", "commission": commission, "open": open_}
    if account is None or commission.stage not in actions.CHANGEABLE:
        return render(request, "changes/propose.html", context)
    form = ChangeForm(request.POST or None, request.FILES or None, shop=request.shop, standing=account)
    if request.method == "POST" and form.is_valid():
        typed = dict(form.cleaned_data)
        photos = typed.pop("photos")

        def do() -> str:
            actions.propose(commission, actions.NewChange(**typed), owner_of(request), photos)
            return reverse("desk:commission", args=[number]) + "#changes"

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
        else:
            messages.success(request, f"{commission.client.name} is asked for their answer.")
            return HttpResponseRedirect(landing)
    context |= {"form": form, "standing": account}
    return render(request, "changes/propose.html", context, status=422 if form.errors else 200)


@desk_view
@require_http_methods(["GET", "POST"])
def change(request: DeskRequest, number: str, change: int) -> HttpResponseBase:
    """A change as it went out; while it is open, a yes can be written down."""
    commission = at_desk(number)
    one = change_of(commission, change)
    form = RecordForm(
        request.POST or None,
        request.FILES or None,
        name=commission.client.name,
        today=today_at(request.shop),
    )
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.accept(
                one.pk,
                typed["name"],
                owner_of(request),
                typed["way"],
                typed["said_on"],
                typed["note"],
                form.paper_picture,
            )
            return reverse("desk:commission", args=[number]) + "#changes"

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
        else:
            messages.success(request, "Written down. What is due has followed.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "changes/change.html",
        {"nav": "commissions", "commission": commission, "change": one, "form": form},
        status=422 if form.errors else 200,
    )
    return page


@desk_view
@require_POST
def close(request: DeskRequest, number: str, change: int) -> HttpResponseBase:
    """A no that was said in the shop (`answer` = no), or the change taken back (`answer` = back); `words`."""
    commission = at_desk(number)
    one = change_of(commission, change)
    words = request.POST.get("words", "")

    def do() -> str:
        if request.POST.get("answer") == "no":
            actions.decline(one.pk, words, owner_of(request))
        else:
            actions.withdraw(one.pk, words, owner_of(request))
        return reverse("desk:commission", args=[number]) + "#changes"

    return pressed(request, do, back=reverse("desk:change", args=[number, change]), said="Written down.")


@desk_view
@require_POST
def noted(request: DeskRequest, number: str, change: int) -> HttpResponseBase:
    commission = at_desk(number)
    one = change_of(commission, change)

    def do() -> str:
        actions.note(one.pk, owner_of(request))
        return reverse("desk:commission", args=[number])

    return pressed(request, do, back=reverse("desk:change", args=[number, change]))
