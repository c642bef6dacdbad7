"""A quote has run out: the owner reads the words that are ready, changes them, and sends them or lets it
rest."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.commissions.queries import at_desk
from shopdesk.conversation.forms import MessageForm
from shopdesk.quotes import expiry
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def still_interested(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    quote = expiry.follow_up_of(commission)
    words = expiry.draft_words(quote, commission, request.shop) if quote else ""
    form = MessageForm(request.POST or None, initial={"text": words})
    del form.fields["photos"]
    form.fields["text"].label = f"To {commission.client.name}"
    form.fields["text"].widget.attrs["rows"] = 8
    status = 422 if form.errors else 200
    if request.method == "POST" and form.is_valid():

        def do() -> str:
            expiry.ask_again(commission, form.cleaned_data["text"], owner_of(request))
            return reverse("desk:commission", args=[number]) + "#said"

        try:
            onward = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
            status = 422 if no.field else 409
        else:
            messages.success(request, "Asked. Their answer comes back to this commission.")
            return HttpResponseRedirect(onward)
    page: HttpResponse = render(
        request,
        "quotes/still_interested.html",
        {"nav": "today", "commission": commission, "quote": quote, "form": form},
        status=status,
    )
    return page


@desk_view
@require_POST
def let_rest(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)

    def do() -> str:
        expiry.let_rest(commission, owner_of(request))
        return reverse("desk:today")

    back = reverse("desk:commission", args=[number])
    return pressed(request, do, back=back, said="Let rest. It stays among the commissions.")
