"""The shop's quick answers: which there are, writing one, taking one away."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.commissions.fields import all_fields
from shopdesk.conversation import quick
from shopdesk.conversation.forms import QuickAnswerForm
from shopdesk.conversation.models import QuickAnswer
from shopdesk.conversation.queries import quick_answers
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_safe
def all_quick(request: DeskRequest) -> HttpResponseBase:
    context = {"nav": "shop", "answers": quick_answers()}
    page: HttpResponse = render(request, "conversation/quick_answers.html", context)
    return page


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def new_quick(request: DeskRequest) -> HttpResponseBase:
    return _write(request, None)


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def one_quick(request: DeskRequest, pk: int) -> HttpResponseBase:
    return _write(request, get_object_or_404(QuickAnswer, pk=pk))


def _write(request: DeskRequest, kept: QuickAnswer | None) -> HttpResponseBase:
    form = QuickAnswerForm(request.POST.copy() if request.POST else None, kept=kept)
    newer: QuickAnswer | None = None
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            pk = kept.pk if kept else None
            quick.keep(typed["title"], typed["text"], owner_of(request), pk, typed["edition"] or 0)
            return reverse("desk:quick-answers")

        try:
            landing = once(submission_key(request), do)
        except quick.Older as no:
            newer = no.now
            form.add_error(None, f"{no.sentence} Yours is still here; theirs stands below.")
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            messages.success(request, "Kept.")
            return HttpResponseRedirect(landing)
    return _page(request, form, kept, newer)


def _page(
    request: DeskRequest, form: QuickAnswerForm, kept: QuickAnswer | None, newer: QuickAnswer | None
) -> HttpResponse:
    """`newer` is what somebody else kept meanwhile: the next press writes over it, knowing."""
    if newer is not None:
        cast(QueryDict, form.data)["edition"] = str(newer.edition)
    status = 409 if newer else 422 if form.errors else 200
    page: HttpResponse = render(
        request,
        "conversation/quick_answer.html",
        {
            "nav": "shop",
            "form": form,
            "kept": kept,
            "newer": newer,
            "fields": list(all_fields().values()),
        },
        status=status,
    )
    return page


@desk_view
@require_POST
def drop_quick(request: DeskRequest, pk: int) -> HttpResponseBase:
    typed = request.POST.get("edition", "")
    edition = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 10 else 0

    def do() -> str:
        quick.take_away(pk, edition, owner_of(request))
        return reverse("desk:quick-answers")

    try:
        landing = once(submission_key(request), do)
    except quick.Older as no:
        messages.error(request, f"{no.sentence} Read it again before you take it away.")
        return HttpResponseRedirect(reverse("desk:quick-answer", args=[pk]))
    except Refused as no:
        messages.error(request, no.sentence)
        return HttpResponseRedirect(reverse("desk:quick-answers"))
    messages.success(request, "Taken away.")
    return HttpResponseRedirect(landing)
