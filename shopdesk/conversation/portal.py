"""The client writes."""

from datetime import timedelta

from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.limits import allow
from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.commissions.queries import of_client
from shopdesk.conversation import actions
from shopdesk.conversation.forms import MessageForm
from shopdesk.conversation.queries import AT_ONCE, messages_of
from shopdesk.photos import room
from shopdesk.shop.middleware import shop_of

_DAY = timedelta(days=1)


@client_view
@require_http_methods(["GET", "POST"])
def ask(request: ClientRequest, number: str) -> HttpResponseBase:
    commission = of_client(request.client, number)
    trouble = _too_much(request) if request.method == "POST" else ""
    form = MessageForm(request.POST or None, None if trouble else request.FILES or None)
    if trouble:
        form.add_error("photos", trouble)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.say_to_shop(commission, typed["text"], client_of(request), typed["photos"])
            return reverse("portal:commission", args=[number]) + "#said"

        try:
            if not allow(f"messages of client {request.client.pk}", most=60, span=_DAY):
                raise Refused(_many(request))
            return HttpResponseRedirect(once(submission_key(request), do))
        except Refused as no:
            form.add_error(no.field, no.sentence)
    said = messages_of(commission)
    before = 0 if "all" in request.GET else max(0, len(said) - AT_ONCE)
    page: HttpResponse = render(
        request,
        "conversation/ask.html",
        {
            "client": request.client,
            "commission": commission,
            "form": form,
            "messages_so_far": said[before:],
            "before": before,
        },
        status=422 if form.errors else 200,
    )
    return page


def _too_much(request: ClientRequest) -> str:
    """Why no pictures are taken from this client now, whatever they show; empty when they are."""
    uploads = request.FILES.getlist("photos")
    shop = shop_of(request)
    phone = shop.phone if shop else ""
    if not uploads:
        return ""
    if room.is_short():
        return room.no_room(phone)
    whose = f"client {request.client.pk}"
    if not allow(f"pictures of {whose}", most=100, span=_DAY, count=len(uploads)) or not room.allow_pictures(
        whose, [upload.size for upload in uploads]
    ):
        return room.many_bytes(phone)
    return ""


def _many(request: ClientRequest) -> str:
    shop = shop_of(request)
    call = f"; or call us on {shop.phone}" if shop and shop.phone else ""
    return f"You have written a great deal today. Please send this tomorrow{call}."
