"""The desk's own pages: what needs me now, the commissions, one commission with everything about it."""

from __future__ import annotations

from uuid import UUID

import segno
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST, require_safe

from shopdesk.base import work
from shopdesk.base.nudge import nudge
from shopdesk.base.press import pressed
from shopdesk.clients.access import link as client_link
from shopdesk.clients.actions import revoke_links
from shopdesk.clients.queries import grant_of
from shopdesk.commissions import reminders
from shopdesk.commissions.models import Shot, Stage
from shopdesk.commissions.queries import at_desk, faces, journal_of, letters_of, search, shots_of
from shopdesk.commissions.stages import open_steps, unmet, write_line
from shopdesk.conversation.actions import saw
from shopdesk.desk.emails import things_to_tell
from shopdesk.desk.needs import front_page
from shopdesk.desk.queries import commission_page, trouble
from shopdesk.documents.models import Document
from shopdesk.documents.serve import document_response
from shopdesk.photos.models import Picture
from shopdesk.photos.serve import original_response, rendition_response
from shopdesk.shop.access import DeskRequest, desk_view, owner_of


@desk_view
@require_safe
def today(request: DeskRequest) -> HttpResponseBase:
    """What needs me now, in order, each with the one press that deals with it."""
    now = timezone.now()
    return render(
        request,
        "desk/today.html",
        {"nav": "today", "today": front_page(request.shop, now), "now": now, "trouble": trouble(now)},
    )


@desk_view
@require_safe
def commissions(request: DeskRequest) -> HttpResponseBase:
    """All commissions, found by name, piece, number and stage."""
    words = request.GET.get("q", "").replace("\0", "")[:100].strip()
    stage = request.GET.get("stage", "")
    if stage not in Stage.values:
        stage = ""
    page = Paginator(search(words, stage), 25).get_page(request.GET.get("page"))
    known_by = faces(one.pk for one in page.object_list)
    rows = [(one, known_by.get(one.pk)) for one in page.object_list]
    return render(
        request,
        "desk/commissions.html",
        {
            "nav": "commissions",
            "q": words,
            "stage": stage,
            "stages": Stage.choices,
            "page": page,
            "rows": rows,
        },
    )


@desk_view
@require_safe
def commission(request: DeskRequest, number: str) -> HttpResponseBase:
    """One commission: its pieces, money, colour, visits, what was said, and its journal."""
    one = at_desk(number)
    moves = [(step, unmet(one, step)) for step in open_steps(one)]
    shots = shots_of(one)
    known = commission_page(one, request.shop)
    page = render(
        request,
        "desk/commission.html",
        {
            "nav": "commissions",
            "commission": one,
            "pieces": list(one.pieces.all()),
            "lead": ", ".join(piece.name for piece in one.pieces.all() if piece.lead_caution),
            "moves": moves,
            "may": {step.to.value for step, _ in moves},
            "shots": [shot for shot in shots if shot.kind != Shot.Kind.MESSAGE],
            "face": next(
                (shot for shot in shots if shot.kind == Shot.Kind.FINAL), shots[0] if shots else None
            ),
            "journal": journal_of(one)[::-1],
            "letters": letters_of(one)[:20],
            "reminders": reminders.of_commission(one, request.shop, timezone.now()),
            "tell": things_to_tell(one),
            **known,
        },
    )
    if unseen := known["said"].unseen:
        saw(unseen)
    return page


@desk_view
@require_safe
def docket(request: DeskRequest, number: str) -> HttpResponseBase:
    """The sheet that hangs on the piece, for the printer."""
    one = at_desk(number)
    return render(
        request,
        "desk/docket.html",
        {
            "nav": "commissions",
            "commission": one,
            "pieces": list(one.pieces.all()),
            "face": faces([one.pk]).get(one.pk),
            **commission_page(one, request.shop),
        },
    )


@desk_view
@require_safe
def link(request: DeskRequest, number: str) -> HttpResponseBase:
    """The client's link, to show as a code, copy into a text message, or print."""
    one = at_desk(number)
    address = client_link(grant_of(one.client), reverse("portal:commission", args=[number]))
    code = segno.make(address, error="m").svg_inline(
        scale=4, border=2, dark="#000", light="#fff", svgclass=None
    )
    return render(
        request,
        "desk/link.html",
        {"nav": "commissions", "commission": one, "address": address, "code": mark_safe(code)},  # noqa: S308 (our own drawing)
    )


@desk_view
@require_POST
def link_revoke(request: DeskRequest, number: str) -> HttpResponseBase:
    one = at_desk(number)
    page = reverse("desk:link", args=[number])

    def do() -> str:
        revoke_links(one.client)
        write_line(
            one, owner_of(request), "links revoked", "Every earlier link to the client's page was revoked"
        )
        return page

    return pressed(request, do, back=page, said="Every earlier link is worthless now. Give them this one.")


@desk_view
@require_safe
def picture(request: DeskRequest, key: UUID, size: str) -> HttpResponseBase:
    """A picture at a size, or (`original`) as it was sent."""
    found = get_object_or_404(Picture, key=key)
    return original_response(found) if size == "original" else rendition_response(found, size, request)


@desk_view
@require_safe
def document(request: DeskRequest, key: UUID) -> HttpResponseBase:
    found = get_object_or_404(Document, key=key)
    answer = document_response(found)
    if answer is None:
        messages.info(request, "The document is being prepared. Look again in a few seconds.")
        return redirect(request.META.get("HTTP_REFERER") or "desk:today")
    return answer


_WORK = {
    "document": (Document, "shopdesk.documents.render"),
    "picture": (Picture, "shopdesk.photos.prepare"),
}


@desk_view
@require_POST
def work_again(request: DeskRequest, kind: str, pk: int) -> HttpResponseBase:
    """Put something that failed back in line."""
    if kind not in _WORK:
        raise Http404
    model, task = _WORK[kind]
    page = reverse("desk:today")

    def do() -> str:
        work.again(model._default_manager.filter(pk=pk))
        nudge(task)
        return page

    return pressed(request, do, back=page, said="Tried again now.")
