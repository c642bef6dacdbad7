"""The public request form. Anybody may write one; nothing here tells who is a client already, and nothing
lets anybody in."""

from __future__ import annotations

import logging
import uuid
from datetime import timedelta
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseRedirect,
    JsonResponse,
)
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shopdesk.base.limits import allow
from shopdesk.base.middleware import address_of, origin_of
from shopdesk.base.once import once, posted_key
from shopdesk.base.refusals import Refused
from shopdesk.intake import actions, queries
from shopdesk.intake.forms import (
    HOLLOW,
    MOST_PIECES,
    RequestForms,
    kept_of,
    typed_of,
    with_another_piece,
    without_piece,
)
from shopdesk.intake.holder import give, held_key, open_key
from shopdesk.intake.models import MOST_PICTURES
from shopdesk.photos import room
from shopdesk.photos.serve import rendition_response
from shopdesk.shop.middleware import shop_of
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at

log = logging.getLogger(__name__)

_LIMITS = {
    "requests": (20, timedelta(days=1)),
    "photos": (200, timedelta(hours=1)),
    "drafts": (1200, timedelta(hours=1)),
}
"""How many of each may come from one network address."""


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def request_page(request: HttpRequest) -> HttpResponseBase:
    """The form. What has been typed is kept in the draft at every press; a request that is whole and right
    is sent."""
    shop = shop_of(request)
    if shop is None:
        return render(request, "intake/not-yet.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    if request.method == "POST":
        return _pressed(request, shop)
    key = open_key(request)
    draft = queries.draft_of(key)
    forms = RequestForms(shop, today_at(shop), draft.typed if draft else {}, bound=False)
    return _shown(request, shop, key, forms)


def _pressed(request: HttpRequest, shop: Shop) -> HttpResponseBase:
    if request.POST.get(HOLLOW):
        return HttpResponseRedirect(_thanks(uuid.uuid4()))  # a robot: it is thanked, and nothing is kept
    posted = posted_key(request)
    sent = queries.draft_of(posted)
    if sent is not None and sent.commission is not None:
        return HttpResponseRedirect(_thanks(posted))
    key = open_key(request, otherwise=posted)
    typed = typed_of(request.POST)
    if not _may("drafts", request):
        forms = RequestForms(shop, today_at(shop), typed, bound=False)
        return _shown(request, shop, key, forms, trouble=_BUSY, status=HTTPStatus.TOO_MANY_REQUESTS)
    actions.keep(key, kept_of(typed))
    refused = _take_in(request, key)

    press, _, which = request.POST.get("press", "").partition(" ")
    if press in ("another", "without", "take", "pictures"):
        return _rearranged(request, key, typed, press, which, refused)

    forms = RequestForms(shop, today_at(shop), typed, bound=True)
    right = forms.is_valid(has_pictures=bool(queries.pictures_of(key)))
    if not right or refused:
        return _shown(request, shop, key, forms, refused=refused, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    if not _may("requests", request):
        return _shown(request, shop, key, forms, trouble=_too_many(shop), status=HTTPStatus.TOO_MANY_REQUESTS)

    def send() -> str:
        email = forms.main.cleaned_data["email"].lower()
        if email and not allow(f"requests to {email}", most=5, span=timedelta(days=1)):
            raise Refused(_too_many(shop))
        actions.send_request(key, forms.asked(), address_of(request))
        return _thanks(key)

    try:
        landing = once(key, send)
    except Refused as no:
        return _shown(request, shop, key, forms, trouble=no.sentence, status=HTTPStatus.CONFLICT)
    response = HttpResponseRedirect(landing)
    give(response, key)
    return response


def _rearranged(
    request: HttpRequest, key: uuid.UUID, typed: dict[str, str], press: str, which: str, refused: list[str]
) -> HttpResponseBase:
    """A press that changes the form: another piece, one piece less, a picture less. Then the page is loaded
    again, so that a reload repeats nothing."""
    place = "pictures"
    if press == "another":
        typed = with_another_piece(typed)
        actions.keep(key, kept_of(typed))
        place = f"piece-{typed['pieces']}"
    elif press == "without":
        fewer = without_piece(typed, int(which) if which.isdecimal() and len(which) < 4 else -1)
        actions.keep(key, kept_of(fewer))
        place = "pieces"
    elif press == "take":
        try:
            actions.take_picture_away(key, uuid.UUID(which))
        except ValueError:
            log.info("A picture that there cannot be was to be taken away: %r", which[:60])
    for sentence in refused:
        messages.error(request, sentence)
    response = HttpResponseRedirect(f"{reverse('intake:request')}#{place}")
    give(response, key)
    return response


def _take_in(request: HttpRequest, key: uuid.UUID) -> list[str]:
    """Take the pictures that came with the form into the draft, each judged on its own. Returns what was
    refused, and why."""
    refused = []
    for upload in request.FILES.getlist("photos"):
        no = _no_more(request, upload)
        if no:
            refused.append(no[0])
            continue
        try:
            actions.add_picture(key, upload)
        except Refused as refusal:
            refused.append(refusal.sentence)
    return refused


def _no_more(request: HttpRequest, upload: UploadedFile[Any]) -> tuple[str, HTTPStatus] | None:
    """Why no further picture is taken from there, whatever it shows."""
    shop = shop_of(request)
    phone = shop.phone if shop else ""
    if room.is_short():
        return f"{upload.name}: {room.no_room(phone)}", HTTPStatus.INSUFFICIENT_STORAGE
    if not _may("photos", request):
        return f"{upload.name}: {_MANY_PHOTOS}", HTTPStatus.TOO_MANY_REQUESTS
    if not room.allow_pictures(origin_of(request), [upload.size]):
        return f"{upload.name}: {room.many_bytes(phone)}", HTTPStatus.TOO_MANY_REQUESTS
    return None


def _shown(
    request: HttpRequest,
    shop: Shop,
    key: uuid.UUID,
    forms: RequestForms,
    *,
    refused: list[str] | None = None,
    trouble: str = "",
    status: HTTPStatus = HTTPStatus.OK,
) -> HttpResponse:
    forms.focus_first(elsewhere=bool(refused))
    context: dict[str, Any] = {
        "key": key,
        "form": forms.main,
        "pieces": forms.pieces,
        "problems": forms.problems() if forms.bound else [],
        "refused": refused or [],
        "trouble": trouble,
        "pictures": queries.pictures_of(key),
        "answer_by": queries.answer_by(shop, today_at(shop)),
        "most_pictures": MOST_PICTURES,
        "room_for_pieces": len(forms.pieces) < MOST_PIECES,
        "hollow": HOLLOW,
    }
    response = render(request, "intake/request.html", context, status=status)
    if held_key(request) != key:
        give(response, key)
    return response


def _may(what: str, request: HttpRequest) -> bool:
    most, span = _LIMITS[what]
    return allow(f"{what} from {origin_of(request)}", most=most, span=span)


def _thanks(key: uuid.UUID) -> str:
    return reverse("intake:thanks", args=[key])


_BUSY = (
    "This form was sent very often from your connection within the hour, so this time it was not kept. "
    "What you typed is still here: please press again a little later."
)
_MANY_PHOTOS = "many pictures came from your connection within the hour. Please add it a little later."


def _too_many(shop: Shop) -> str:
    call = f" call us on {shop.phone} or" if shop.phone else ""
    return (
        "Many requests have come from your connection today, or for your email address, "
        "so we could not send this one. "
        f"What you typed is kept: please{call} try again tomorrow."
    )


@require_POST
def draft(request: HttpRequest) -> HttpResponse:
    """Keep what has been typed so far (`draft.js`)."""
    key = held_key(request)
    if key is None:  # a browser without the cookie could not find the draft again
        return HttpResponse(status=HTTPStatus.CONFLICT)
    if not _may("drafts", request):
        return HttpResponse(status=HTTPStatus.TOO_MANY_REQUESTS)
    actions.keep(key, kept_of(typed_of(request.POST)))
    return HttpResponse(status=HTTPStatus.NO_CONTENT)


@require_POST
def photo(request: HttpRequest) -> JsonResponse:
    """Take one picture into the draft (`photos.js`)."""
    key, upload = held_key(request), request.FILES.get("photo")
    if key is None:
        return _no("Load the page again, please; what you typed is kept.", HTTPStatus.CONFLICT)
    if upload is None:
        return _no("No picture arrived.", HTTPStatus.UNPROCESSABLE_ENTITY)
    no_more = _no_more(request, upload)
    if no_more:
        return _no(*no_more)
    try:
        held = actions.add_picture(key, upload)
    except Refused as no:
        return _no(no.sentence, HTTPStatus.UNPROCESSABLE_ENTITY)
    away = reverse("intake:photo-away", args=[held.picture.key])
    return JsonResponse({"ok": True, "id": str(held.picture.key), "remove_url": away})


def _no(sentence: str, status: HTTPStatus) -> JsonResponse:
    return JsonResponse({"ok": False, "message": sentence}, status=status)


@require_POST
def photo_away(request: HttpRequest, picture_key: uuid.UUID) -> JsonResponse:
    """Take a picture out of the draft again (`photos.js`)."""
    key = held_key(request)
    if key is not None:
        actions.take_picture_away(key, picture_key)
    return JsonResponse({"ok": True})


@require_GET
def picture(request: HttpRequest, picture_key: uuid.UUID, size: str) -> HttpResponseBase:
    """A picture of the draft, for the browser that holds it."""
    key = held_key(request)
    held = queries.picture_of(key, picture_key) if key else None
    if held is None:
        raise Http404
    return rendition_response(held.picture, size, request)


@require_GET
@never_cache
def thanks(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """The request has arrived: what happens next and by when. Says nothing that whoever sent it does not
    know, and opens no door: anybody could have typed somebody else's address."""
    shop = shop_of(request)
    if shop is None:
        raise Http404
    sent = queries.draft_of(key)
    commission = sent.commission if sent and held_key(request) == key else None
    today = today_at(shop)
    asked_on = timezone.localdate(commission.requested_at, shop.tz) if commission else today
    return render(
        request,
        "intake/thanks.html",
        {
            "commission": commission,
            "answer_by": queries.answer_by(shop, asked_on),
            "lead": commission is not None and any(piece.lead_caution for piece in commission.pieces.all()),
        },
    )
