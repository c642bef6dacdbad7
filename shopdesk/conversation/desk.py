"""The owner answers."""

from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.commissions.queries import at_desk
from shopdesk.conversation import actions
from shopdesk.conversation.forms import MessageForm, NoteForm
from shopdesk.conversation.queries import messages_of
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_http_methods(["GET", "POST"])
def answer(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = MessageForm(request.POST or None, request.FILES or None)
    form.fields["text"].label = f"To {commission.client.name}"
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.say_to_client(
                commission, typed["text"], owner_of(request), typed["photos"], upto=_seen(request)
            )
            return reverse("desk:commission", args=[number]) + "#said"

        try:
            return HttpResponseRedirect(once(submission_key(request), do))
        except Refused as no:
            form.add_error(no.field, no.sentence)
    said = messages_of(commission)
    page: HttpResponse = render(
        request,
        "conversation/answer.html",
        {
            "nav": "commissions",
            "commission": commission,
            "form": form,
            "note_form": NoteForm(),
            "messages_so_far": said,
            "seen": request.POST.get("seen") or (said[-1].pk if said else ""),
            "waiting": any(message.by_client and message.answered_at is None for message in said),
        },
        status=422 if form.errors else 200,
    )
    return page


def _seen(request: DeskRequest) -> int | None:
    """The newest message that stood on the page: what came after it has not been read."""
    seen = request.POST.get("seen", "")
    return int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 19 else None


@desk_view
@require_POST
def answered_elsewhere(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    page = reverse("desk:commission", args=[number])

    def do() -> str:
        note = request.POST.get("note", "")
        actions.answered_elsewhere(commission, note, owner_of(request), upto=_seen(request))
        return page

    return pressed(request, do, back=reverse("desk:answer", args=[number]), said="Noted in the journal.")
