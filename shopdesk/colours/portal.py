"""The client answers a sample."""

from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.colours import actions
from shopdesk.colours.forms import AnswerForm
from shopdesk.colours.queries import samples_of
from shopdesk.commissions.queries import of_client
from shopdesk.commissions.stages import ENDS


@client_view
@require_http_methods(["GET", "POST"])
def answer(request: ClientRequest, number: str, sample_id: int) -> HttpResponseBase:
    """The sample by itself, with the two answers: "This is the one" and "Please try again"."""
    commission = of_client(request.client, number)
    sample = next((one for one in samples_of(commission) if one.pk == sample_id), None)
    if sample is None:
        raise Http404
    form = AnswerForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            if request.POST.get("answer_is") == "approve":
                actions.approve(sample_id, typed["name"], client_of(request))
            else:
                actions.ask_again(sample_id, typed["name"], typed["answer"], client_of(request))
            return reverse("portal:commission", args=[number]) + "#samples"

        try:
            return HttpResponseRedirect(once(submission_key(request), do))
        except Refused as no:
            form.add_error(no.field, no.sentence)
            status = 409
    elif form.errors:
        status = 422
    page: HttpResponse = render(
        request,
        "colours/answer.html",
        {
            "client": request.client,
            "commission": commission,
            "sample": sample,
            "form": form,
            "ended": commission.stage in ENDS,
        },
        status=status,
    )
    return page
