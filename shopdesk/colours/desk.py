"""The owner proposes a sample, and writes down answers given in the shop."""

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.colours import actions
from shopdesk.colours.forms import SampleForm
from shopdesk.colours.models import Sample
from shopdesk.colours.queries import samples_of
from shopdesk.commissions.queries import at_desk
from shopdesk.commissions.stages import ENDS
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "POST"])
def propose(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    pieces = {str(piece.pk): piece for piece in commission.pieces.all()}
    form = SampleForm(
        request.POST or None,
        request.FILES or None,
        pieces=[(key, piece.name) for key, piece in pieces.items()],
        initial={"sheen": commission.sheen},
    )
    if request.method == "POST" and form.is_valid():
        typed = dict(form.cleaned_data)
        piece, photos = pieces[typed.pop("piece")], typed.pop("photos")

        def do() -> str:
            actions.propose(
                piece, actions.NewSample(**typed), owner_of(request), photos[0] if photos else None
            )
            return reverse("desk:commission", args=[number]) + "#samples"

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            messages.success(request, f"{commission.client.name} is asked for their answer.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "colours/propose.html",
        {
            "nav": "commissions",
            "commission": commission,
            "form": form,
            "samples": samples_of(commission),
            "ended": commission.stage in ENDS,
        },
        status=422 if form.errors else 200,
    )
    return page


@desk_view
@require_POST
def answer(request: DeskRequest, number: str, sample_id: int) -> HttpResponseBase:
    """An answer that was given in the shop: `answer` = approve or again, `name`, `words`."""
    commission = at_desk(number)
    sample = get_object_or_404(Sample, pk=sample_id, piece__commission=commission)
    page = reverse("desk:commission", args=[number]) + "#samples"

    def do() -> str:
        name = request.POST.get("name", "") or commission.client.name
        if request.POST.get("answer") == "approve":
            actions.approve(sample.pk, name, owner_of(request), in_shop=True)
        else:
            actions.ask_again(sample.pk, name, request.POST.get("words", ""), owner_of(request), in_shop=True)
        return page

    return pressed(request, do, back=page, said="Written down.")
