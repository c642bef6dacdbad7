"""The owner takes down a request: for somebody on the phone or at the door, or from an email in the tray."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.conversation import placing
from shopdesk.intake import actions
from shopdesk.intake.forms import EmailedForm, QuickForm
from shopdesk.look.said import one_line
from shopdesk.mail.models import Arrival
from shopdesk.mail.pictures import sized
from shopdesk.shop.access import DeskRequest, desk_view, owner_of

_OTHER_NUMBER = (
    "You know {name} already, and their phone number stays as it was: an email does not prove whose number "
    "stands in it. “Correct” changes it."
)


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def new_request(request: DeskRequest) -> HttpResponseBase:
    if request.method != "POST":
        return _shown(request, QuickForm(), HTTPStatus.OK)
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


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def from_email(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    """Begun with what the email says; what the owner keeps of it is the request."""
    email = placing.whole(get_object_or_404(Arrival, pk=arrival_id))
    if request.method != "POST":
        if email.why_not:  # its page says where it stands
            messages.error(request, email.why_not)
            return HttpResponseRedirect(reverse("desk:arrival", args=[arrival_id]))
        return _shown(request, EmailedForm(mail=email.mail), HTTPStatus.OK, email)
    form = EmailedForm(request.POST, request.FILES, mail=email.mail)
    if not form.is_valid():
        return _shown(request, form, HTTPStatus.UNPROCESSABLE_ENTITY, email)
    taken = placing.take_request_pictures(email)

    def note() -> str:
        pictures = form.cleaned_data["pictures"]
        commission = actions.open_from_email(form.asked(), email, taken, pictures, owner_of(request))
        messages.success(request, f"The email stands in {commission.number} now.")
        client = commission.client
        if form.asked().phone not in ("", client.phone):
            messages.error(request, _OTHER_NUMBER.format(name=one_line(client.name)))
        if taken.refused:
            messages.error(request, f"Not taken in, and still in the email: {' '.join(taken.refused)}")
        return reverse("desk:commission", args=[commission.number])

    try:
        return HttpResponseRedirect(once(submission_key(request), note))
    except Refused as no:
        form.add_error(no.field, no.sentence)
        email.arrival.refresh_from_db(fields=["verdict"])
        return _shown(request, form, HTTPStatus.CONFLICT, email)


def _shown(
    request: DeskRequest,
    form: QuickForm | EmailedForm,
    status: HTTPStatus,
    email: placing.Whole | None = None,
) -> HttpResponseBase:
    known = {"form": form, **(_about(email) if email else {})}
    return render(request, "intake/new.html", known, status=status)


def _about(email: placing.Whole) -> dict[str, Any]:
    """What the page says of the email: what comes along, what stays with it, and where it stands by now."""
    mail = email.mail
    pictures = [sized(part.name or "picture", len(part.data)) for part in mail.pictures] if mail else []
    return {
        "arrival": email.arrival,
        "mail": mail,
        "coming": pictures,
        "message": placing.stands_as(email.arrival),
    }
