"""Emails that came in: those that the owner has to place, and those that have no place."""

from __future__ import annotations

from collections.abc import Sequence
from http import HTTPStatus

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.clients.queries import clients_with_email
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import all_of_clients, at_desk, search
from shopdesk.commissions.stages import ENDS
from shopdesk.conversation import placing
from shopdesk.conversation.placing import Whole
from shopdesk.mail import queries, returned
from shopdesk.mail.arrivals import raw_of
from shopdesk.mail.models import Arrival
from shopdesk.mail.pictures import sized
from shopdesk.shop.access import DeskRequest, desk_view, owner_of

A_PAGE = 30
_SHOWN = 50_000
"""Characters of an email on its page; what is longer is in the file."""
_FOUND = 12


@desk_view
@require_safe
def tray(request: DeskRequest) -> HttpResponseBase:
    """What waits to be placed, longest waiting first; with `?aside`, what has no place, newest first."""
    aside = "aside" in request.GET
    rows = queries.laid_aside() if aside else queries.to_place()
    page = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    guessed = _guesses(list(page.object_list))
    answer: HttpResponse = render(
        request,
        "desk/tray.html",
        {
            "nav": "emails",
            "aside": aside,
            "page": page,
            "rows": [(one, guessed.get(one.hint)) for one in page.object_list],
        },
    )
    return answer


def _guesses(arrivals: Sequence[Arrival]) -> dict[str, Commission]:
    """The commissions that the hints name, by hint. One statement."""
    keys = {one.hint: _commission_id(one.hint) for one in arrivals if one.hint}
    rows = Commission.objects.filter(pk__in=keys.values()).select_related("client").in_bulk() if keys else {}
    return {hint: rows[pk] for hint, pk in keys.items() if pk in rows}


def _commission_id(hint: str) -> int:
    """`commission 12 shop` → 12"""
    return int(hint.split()[1])


@desk_view
@require_safe
def arrival(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    return _page(request, _whole(arrival_id))


def _whole(arrival_id: int) -> Whole:
    return placing.whole(get_object_or_404(Arrival, pk=arrival_id))


def _page(request: DeskRequest, whole: Whole, status: int = HTTPStatus.OK) -> HttpResponseBase:
    one, mail = whole.arrival, whole.mail
    words = request.GET.get("q", "").replace("\0", "").strip()[:100]
    answer: HttpResponse = render(
        request,
        "desk/arrival.html",
        {
            "nav": "emails",
            "arrival": one,
            "mail": mail,
            "words": mail.words[:_SHOWN] if mail else one.excerpt,
            "words_go_on": bool(mail and len(mail.words) > _SHOWN),
            "quoted": mail.quoted[:_SHOWN] if mail else "",
            "pictures": [sized(part.name or "picture", len(part.data)) for part in mail.pictures]
            if mail
            else [],
            "file": sized("the email as it came", one.bytes),
            "can_be_placed": whole.can_be_placed,
            "message": placing.stands_as(one),
            "suggested": _suggested(one) if whole.can_be_placed else [],
            "from_shop": _commission_of_shop(one),
            "q": words,
            "found": list(search(words)[:_FOUND]) if words and whole.can_be_placed else [],
        },
        status=status,
    )
    return answer


def _suggested(one: Arrival) -> list[Commission]:
    """Commissions that it may belong to: the one that it names, then those of whoever has its address, the
    open ones first."""
    named = list(_guesses([one]).values())
    theirs = all_of_clients(clients_with_email(one.from_address)) if one.from_address else []
    theirs.sort(key=lambda commission: commission.stage in ENDS)
    return list({commission.pk: commission for commission in (*named, *theirs)}.values())[:_FOUND]


def _commission_of_shop(one: Arrival) -> Commission | None:
    """The commission about which the shop was told in the email that this one answers: it may be the owner's
    own, from an address that is not known as theirs."""
    return _guesses([one]).get(one.hint) if one.hint.endswith(" shop") else None


@desk_view
@require_safe
def raw(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    """The email as it came, to be saved and never to be shown by the browser."""
    one = get_object_or_404(Arrival, pk=arrival_id)
    try:
        data = raw_of(one)
    except OSError as error:
        raise Http404 from error
    answer = HttpResponse(data, content_type="application/octet-stream")
    answer["Content-Disposition"] = f'attachment; filename="email-{one.pk}.eml"'
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


@desk_view
@require_POST
def place(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    """Into the commission with the posted number: as the client's words, or (`as` = shop) as ours to them."""
    whole = _whole(arrival_id)
    one, mail = whole.arrival, whole.mail
    back = reverse("desk:arrival", args=[one.pk])
    try:
        commission = at_desk(request.POST.get("commission", "").strip()[:12])
    except Http404:
        messages.error(request, "There is no commission with that number.")
        return HttpResponseRedirect(back)
    if mail is None:
        messages.error(request, "The email itself is not there any more.")
        return HttpResponseRedirect(back)
    who, as_shop = owner_of(request), request.POST.get("as") == "shop"
    where = placing.by_hand(commission, who, one, mail, as_shop=as_shop)
    taken = placing.take_pictures(mail, where) if whole.can_be_placed else placing.Taken()

    def do() -> str:
        placing.place_by_hand(one, mail, where, taken, who)
        return reverse("desk:commission", args=[commission.number]) + "#said"

    return pressed(request, do, back=back, said=f"It stands in {commission.number} now.")


@desk_view
@require_POST
def let_go(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    one = get_object_or_404(Arrival, pk=arrival_id)

    def do() -> str:
        placing.let_go(one)
        return reverse("desk:tray")

    back = reverse("desk:arrival", args=[one.pk])
    return pressed(request, do, back=back, said="Let go. It is under what has no place, if you want it back.")


@desk_view
@require_POST
def bring_back(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    one = get_object_or_404(Arrival, pk=arrival_id)
    page = reverse("desk:arrival", args=[one.pk])

    def do() -> str:
        placing.bring_back(one)
        return page

    return pressed(request, do, back=page, said="It is in the tray again.")


@desk_view
@require_POST
def take_out(request: DeskRequest, arrival_id: int) -> HttpResponseBase:
    """Out of the conversation that it stands in, where it does not belong."""
    one = get_object_or_404(Arrival, pk=arrival_id)
    who, page = owner_of(request), reverse("desk:arrival", args=[one.pk])

    def do() -> str:
        placing.take_out(one, who)
        return page

    return pressed(request, do, back=page, said="It is out of that conversation, and in the tray again.")


@desk_view
@require_POST
def address_alive(request: DeskRequest) -> HttpResponseBase:
    """An address that took no mail can be written to again."""
    address = request.POST.get("address", "").replace("\0", "").strip()[:254]
    number = request.POST.get("number", "")
    known = Commission.objects.filter(number=number[:12]).exists() if number else False
    back = reverse("desk:commission", args=[number]) if known else reverse("desk:emails")
    said: list[str] = []

    def do() -> str:
        if address.lower() not in returned.dead([address]):
            raise Refused("Emails go to that address already.")
        count = returned.alive(address)
        waited = {0: "", 1: " One that waited is on its way."}.get(
            count, f" {count} that waited are on their way."
        )
        said.append(f"Emails go to {address} again.{waited}")
        return back

    answer = pressed(request, do, back=back)
    for sentence in said:
        messages.success(request, sentence)
    return answer


urls = [
    path("emails/in/", tray, name="tray"),
    path("emails/in/<int:arrival_id>/", arrival, name="arrival"),
    path("emails/in/<int:arrival_id>/raw/", raw, name="arrival-raw"),
    path("emails/in/<int:arrival_id>/place/", place, name="arrival-place"),
    path("emails/in/<int:arrival_id>/let-go/", let_go, name="arrival-let-go"),
    path("emails/in/<int:arrival_id>/back/", bring_back, name="arrival-back"),
    path("emails/in/<int:arrival_id>/take-out/", take_out, name="arrival-take-out"),
    path("emails/alive/", address_alive, name="address-alive"),
]
