"""The client writes."""

from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.commissions.queries import of_client
from shopdesk.conversation import actions
from shopdesk.conversation.forms import MessageForm
from shopdesk.conversation.queries import messages_of


@client_view
@require_http_methods(["GET", "POST"])
def ask(request: ClientRequest, number: str) -> HttpResponseBase:
    commission = of_client(request.client, number)
    form = MessageForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.say_to_shop(commission, typed["text"], client_of(request), typed["photos"])
            return reverse("portal:commission", args=[number]) + "#said"

        try:
            return HttpResponseRedirect(once(submission_key(request), do))
        except Refused as no:
            form.add_error(no.field, no.sentence)
    page: HttpResponse = render(
        request,
        "conversation/ask.html",
        {
            "client": request.client,
            "commission": commission,
            "form": form,
            "messages_so_far": messages_of(commission),
        },
        status=422 if form.errors else 200,
    )
    return page
