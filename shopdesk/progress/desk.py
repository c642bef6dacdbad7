"""The owner shows how far it is: from a phone, in under ten seconds."""

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.commissions.queries import at_desk
from shopdesk.progress import actions
from shopdesk.progress.forms import UpdateForm
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "POST"])
def show(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = UpdateForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.show(
                commission, typed["text"], owner_of(request), typed["photos"], finished=typed["finished"]
            )
            return reverse("desk:commission", args=[number])

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            messages.success(request, f"{commission.client.name} can see it now.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "progress/show.html",
        {"nav": "commissions", "commission": commission, "form": form},
        status=422 if form.errors else 200,
    )
    return page
