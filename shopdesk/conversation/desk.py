"""The owner reads, answers, and notes what is theirs alone."""

from __future__ import annotations

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.commissions.fields import all_fields, values_of
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import at_desk, faces
from shopdesk.conversation import actions, quick
from shopdesk.conversation.forms import MessageForm, NoteForm, OwnNoteForm, QuickChoice
from shopdesk.conversation.models import Message
from shopdesk.conversation.queries import AT_ONCE, conversations, how_many_wait, talks, timeline
from shopdesk.look.said import one_line
from shopdesk.mail.returned import dead
from shopdesk.shop.access import DeskRequest, desk_view, owner_of

A_PAGE = 25


@desk_view
@require_safe
def all_conversations(request: DeskRequest) -> HttpResponseBase:
    """Who waits for my word, longest waiting first; then what I have not read; then the rest."""
    words = request.GET.get("q", "").replace("\0", "")[:100].strip()
    page = Paginator(conversations(words), A_PAGE).get_page(request.GET.get("page"))
    listed = talks(page.object_list)
    known_by = faces(talk.commission.pk for talk in listed)
    answer: HttpResponse = render(
        request,
        "conversation/conversations.html",
        {
            "nav": "today",
            "q": words,
            "page": page,
            "rows": [(talk, known_by.get(talk.commission.pk)) for talk in listed],
            "waiting": how_many_wait(),
        },
    )
    return answer


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: DeskRequest, number: str) -> HttpResponseBase:
    """One conversation, and the form to write in it. Whoever presses "Put it in" gets the same page with the
    quick answer in the box; nothing goes before they press Send."""
    commission = at_desk(number)
    if request.method == "POST" and "fill" in request.POST:
        return _page(request, commission, *_filled_in(request, commission))
    form = MessageForm(request.POST or None, request.FILES or None, to=commission.client.name)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.say_to_client(
                commission, typed["text"], owner_of(request), typed["photos"], upto=_seen(request)
            )
            return reverse("desk:commission", args=[number]) + "#said"

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            if Message.objects.filter(commission=commission, by_client=True, answered_at=None).exists():
                who = one_line(commission.client.name)
                messages.info(request, f"{who} wrote while you were writing. It still waits for you.")
            return HttpResponseRedirect(landing)
    return _page(request, commission, form)


def _filled_in(request: DeskRequest, commission: Commission) -> tuple[MessageForm, tuple[str, ...]]:
    """The form with the chosen quick answer after what was typed, and what could not be filled."""
    choice = QuickChoice(request.POST)
    chosen = choice.cleaned_data["quick"] if choice.is_valid() else None
    data, trouble = request.POST.copy(), ""
    missing: tuple[str, ...] = ()
    if chosen is not None:
        try:
            filled = quick.filled_for_box(chosen.text, commission)
        except Refused as no:
            trouble = no.sentence
        else:
            data["text"] = "\n\n".join(part for part in (data.get("text", "").rstrip(), filled.text) if part)
            missing = filled.missing
    form = MessageForm(data, request.FILES, to=commission.client.name)
    form.is_valid()  # takes the pictures in, so that they are still there when it is sent
    if trouble:
        form.add_error("text", trouble)
    elif chosen is None:
        form.add_error(None, "Choose a quick answer first.")
    if not form.errors:
        form.fields["text"].widget.attrs["autofocus"] = True
    return form, missing


def _page(
    request: DeskRequest,
    commission: Commission,
    form: MessageForm | None = None,
    missing: tuple[str, ...] = (),
    *,
    elsewhere: forms.Form | None = None,
    own: forms.Form | None = None,
) -> HttpResponse:
    """The page of one conversation, with whichever of its three forms came back. What it shows has been
    seen."""
    form = form or MessageForm(to=commission.client.name)
    said = timeline(commission, None if "all" in request.GET else AT_ONCE)
    address = commission.client.email.lower()
    values = values_of(commission)
    wrong = any(one is not None and one.errors for one in (form, elsewhere, own))
    page: HttpResponse = render(
        request,
        "conversation/answer.html",
        {
            "nav": "commissions",
            "commission": commission,
            "dead": dead([address]).get(address) if address else None,
            "form": form,
            "missing": missing,
            "choice": QuickChoice(),
            "fields": [(field, values[field.name]) for field in all_fields().values()],
            "elsewhere": elsewhere or NoteForm(),
            "own": own or OwnNoteForm(auto_id="own_%s"),
            "said": said,
            "seen": request.POST.get("seen") or said.seen,
            "waiting": said.waiting,
        },
        status=422 if wrong else 200,
    )
    if unseen := said.unseen:
        actions.saw(unseen)
    return page


def _seen(request: DeskRequest) -> int | None:
    """The newest message that stood on the page: what came after it has not been read."""
    seen = request.POST.get("seen", "")
    return int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 19 else None


@desk_view
@require_POST
def answered_elsewhere(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = NoteForm(request.POST)

    def do() -> str:
        note = form.cleaned_data["note"]
        actions.answered_elsewhere(commission, note, owner_of(request), upto=_seen(request))
        return reverse("desk:commission", args=[number]) + "#said"

    landing = _kept(request, form, do)
    return landing or _page(request, commission, elsewhere=form)


@desk_view
@require_POST
def nothing_to_answer(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    page = reverse("desk:commission", args=[number]) + "#said"

    def do() -> str:
        actions.nothing_to_answer(commission, owner_of(request), upto=_seen(request))
        return page

    back = reverse("desk:answer", args=[number])
    return pressed(request, do, back=back, said="It waits for nothing more.")


@desk_view
@require_POST
def note(request: DeskRequest, number: str) -> HttpResponseBase:
    """Keep a note, or (`call`) a call in one line."""
    commission = at_desk(number)
    form = OwnNoteForm(request.POST, auto_id="own_%s")

    def do() -> str:
        actions.note(commission, form.cleaned_data["note"], owner_of(request), call="call" in request.POST)
        return reverse("desk:answer", args=[number]) + "#notes"

    landing = _kept(request, form, do)
    return landing or _page(request, commission, own=form)


def _kept(request: DeskRequest, form: forms.Form, do: Callable[[], str]) -> HttpResponseRedirect | None:
    """On to where a note landed; `None` when the form has to come back."""
    if not form.is_valid():
        return None
    try:
        landing = once(submission_key(request), do)
    except Refused as no:
        form.add_error(no.field, no.sentence)
        return None
    messages.success(request, "Noted. Only you see it.")
    return HttpResponseRedirect(landing)


@desk_view
@require_POST
def strike_note(request: DeskRequest, number: str, note_id: int) -> HttpResponseBase:
    commission = at_desk(number)
    page = reverse("desk:answer", args=[number]) + "#notes"

    def do() -> str:
        actions.strike_note(commission, note_id, owner_of(request))
        return page

    return pressed(request, do, back=page, said="Taken away.")
