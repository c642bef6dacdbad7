"""The owner takes down a request for somebody on the phone or at the door."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.intake import actions
from shopdesk.intake.forms import QuickForm
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def new_request(request: DeskRequest) -> HttpResponseBase:
    if request.method != "POST":
        known = {name: request.GET.get(name, "").replace("\0", "")[:254] for name in ("name", "email")}
        return _shown(request, QuickForm(initial=known), HTTPStatus.OK)  # from an email that came in
    form = QuickForm(request.POST, request.FILES)
    if not form.is_valid():
        return _shown(request, form, HTTPStatus.UNPROCESSABLE_ENTITY)

    def note() -> str:
        said = form.cleaned_data
        commission = actions.note_request(form.asked(), said["source"], said["pictures"], owner_of(request))
        return reverse("desk:commission", args=[commission.number])

    try:
        return HttpResponseRedirect(once(submission_key(request), note))
    except Refused as no:
        form.add_error(no.field, no.sentence)
        return _shown(request, form, HTTPStatus.CONFLICT)


def _shown(request: DeskRequest, form: QuickForm, status: HTTPStatus) -> HttpResponseBase:
    return render(request, "intake/new.html", {"form": form}, status=status)
