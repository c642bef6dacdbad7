"""The client's side: the door, their page, their pictures and documents."""

from __future__ import annotations

from datetime import timedelta
from typing import cast
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shopdesk.base.limits import allow
from shopdesk.base.middleware import origin_of
from shopdesk.base.press import pressed
from shopdesk.clients.access import ClientRequest, client_of, client_view, clients_in, open_door
from shopdesk.commissions.models import Shot, Stage
from shopdesk.commissions.queries import all_of_clients, faces, of_client, shots_of
from shopdesk.craft.cautions import LEAD_WORDS_TO_CLIENT
from shopdesk.documents.models import Document
from shopdesk.documents.serve import document_response
from shopdesk.photos.serve import rendition_response
from shopdesk.portal import actions
from shopdesk.portal.forms import FreshLinkForm
from shopdesk.portal.queries import documents_of_clients, facts_of
from shopdesk.portal.words import steps, tell
from shopdesk.progress.queries import updates_of
from shopdesk.shop.middleware import shop_of
from shopdesk.shop.models import Shop


@require_safe
def front(request: HttpRequest) -> HttpResponse:
    """The way in: to the client's own page for somebody who has one open, else to the request form."""
    if shop_of(request) is None:
        return redirect("desk:set-up")
    return redirect("portal:mine" if clients_in(request) else "intake:request")


@never_cache
@require_safe
def enter(request: HttpRequest, token: str) -> HttpResponse:
    """Open the door for a link and go on to an address without the secret. Changes nothing but the session:
    mail scanners open links too."""
    to = request.GET.get("to", "")
    if not to.startswith("/my/") or not url_has_allowed_host_and_scheme(to, allowed_hosts=None):
        to = reverse("portal:mine")
    if not open_door(request, token):
        return redirect(reverse("portal:fresh-link") + "?old=1")
    answer = redirect(to)
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def fresh_link(request: HttpRequest) -> HttpResponse:
    """For a link that is old or lost. Answers the same whether or not the address is known."""
    form = FreshLinkForm(request.POST or None)
    shop = shop_of(request)
    if request.method == "POST" and form.is_valid() and shop is not None:
        email = form.cleaned_data["email"].lower()
        hour = timedelta(hours=1)
        if allow(f"fresh link from {origin_of(request)}", most=20, span=hour) and allow(
            f"fresh link to {email}"[:120], most=3, span=hour
        ):
            actions.send_fresh_link(shop, email)
        return render(request, "portal/fresh_link_sent.html", {"email": form.cleaned_data["email"]})
    return render(
        request,
        "portal/fresh_link.html",
        {"form": form, "old": "old" in request.GET},
        status=422 if form.errors else 200,
    )


def _shop(request: HttpRequest) -> Shop:
    return cast(Shop, shop_of(request))  # a client cannot be in before there is a shop


@client_view
@require_safe
def mine(request: ClientRequest) -> HttpResponseBase:
    """All of a client's commissions; straight on to it for somebody who has one."""
    commissions = all_of_clients(request.clients)
    if len(commissions) == 1:
        return redirect("portal:commission", commissions[0].number)
    known_by = faces([one.pk for one in commissions], for_client=True)
    rows = [(one, known_by.get(one.pk)) for one in commissions]
    return render(request, "portal/mine.html", {"client": request.client, "rows": rows})


@client_view
@require_safe
def commission(request: ClientRequest, number: str) -> HttpResponseBase:
    """How is my piece: where it stands, what is needed, how far it is, what it costs."""
    one = of_client(request.client, number)
    facts = facts_of(_shop(request), one)
    shots = shots_of(one, for_client=True)
    finals = [shot for shot in shots if shot.kind == Shot.Kind.FINAL]
    firsts = [shot for shot in shots if shot.kind == Shot.Kind.REQUEST]
    return render(
        request,
        "portal/commission.html",
        {
            "client": request.client,
            "commission": one,
            "pieces": list(one.pieces.all()),
            "facts": facts,
            "told": tell(facts),
            "steps": steps(facts),
            "face": next(iter(finals or firsts), None),
            "before": firsts[0] if finals and firsts else None,
            "sent_shots": firsts,
            "quotes": facts.quotes,
            "standing": facts.standing,
            "changes": facts.changes,
            "invoices": facts.invoices,
            "updates": updates_of(one),
            "samples": facts.samples,
            "messages_so_far": facts.messages,
            "drop_off": facts.booked("drop-off"),
            "pickup": facts.booked("pickup"),
            "site_visit": facts.booked("site-visit"),
            "ballpark": facts.ballpark,
            "may_ask_us_round": one.stage in (Stage.REQUESTED, Stage.QUOTED)
            and not facts.booked("site-visit"),
            "may_withdraw": one.stage in (Stage.REQUESTED, Stage.QUOTED),
            "lead": LEAD_WORDS_TO_CLIENT if any(piece.lead_caution for piece in one.pieces.all()) else "",
        },
    )


@client_view
@require_POST
def withdraw(request: ClientRequest, number: str) -> HttpResponseBase:
    one = of_client(request.client, number)
    page = reverse("portal:commission", args=[number])

    def do() -> str:
        actions.withdraw(one, client_of(request), request.POST.get("why", ""))
        return page

    return pressed(request, do, back=page, said="Withdrawn. Thank you for telling us.")


@client_view
@require_safe
def picture(request: ClientRequest, key: UUID, size: str) -> HttpResponseBase:
    """A picture of one of the client's own commissions that is meant for them."""
    shot = get_object_or_404(
        Shot.objects.select_related("picture"),
        picture__key=key,
        for_client=True,
        commission__client__in=request.clients,
    )
    return rendition_response(shot.picture, size, request)


@client_view
@require_safe
def document(request: ClientRequest, key: UUID) -> HttpResponseBase:
    """A document that was sent to this client, as it was sent."""
    found = Document.objects.filter(key=key, pk__in=documents_of_clients(request.clients)).first()
    if found is None:
        raise Http404
    answer = document_response(found)
    if answer is None:
        return render(request, "portal/being_prepared.html", {"client": request.client}, status=202)
    return answer
