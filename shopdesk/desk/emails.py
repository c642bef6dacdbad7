"""Emails at the desk: what to tell people without email, what did not go out, what waits, what went out."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from urllib.parse import quote

from csp.constants import NONE, SELF, UNSAFE_INLINE
from csp.decorators import csp
from django.conf import settings
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_POST, require_safe

from shopdesk.base import blobs
from shopdesk.base.press import pressed
from shopdesk.commissions.models import Commission
from shopdesk.mail import actions, catalogue, frame, links, mailbox, pause, queries, returned
from shopdesk.mail.message import enclosures_of
from shopdesk.mail.models import Email
from shopdesk.mail.own import Sources, left_aside
from shopdesk.mail.words import NoWords, subject_of, words
from shopdesk.shop.access import DeskRequest, desk_view

A_PAGE = 30
A_FEW = 10
_AT_MOST = 50
"""Of each list of what waits: more than that is no list to read but a fault to mend."""

_ONLY_LOOKED_AT = {
    "default-src": [NONE],
    "style-src": [UNSAFE_INLINE],  # an email carries its style in the text
    "img-src": ["data:"],
    "frame-ancestors": [SELF],
    "sandbox": True,
}


@dataclass(frozen=True)
class ToTell:
    """Words to pass on. `words` hold the client's real link; `sms` is empty without a phone number."""

    email: Email
    words: str
    phone: str
    sms: str


def things_to_tell(commission: Commission | None = None) -> list[ToTell]:
    """What to tell people without email (about this commission, where one is named), oldest first, at most
    fifty."""
    rows = queries.to_tell()
    if commission is not None:
        rows = rows.filter(thread=f"commission {commission.pk}")
    sources = Sources()
    return [_to_tell(email, sources) for email in rows[:_AT_MOST]]


def _to_tell(email: Email, sources: Sources | None = None) -> ToTell:
    try:
        said = links.put_in(words(email, sources).text).strip()
    except (NoWords, LookupError) as error:
        said = f"{subject_of(email)} (the words could not be made: {error})"
    phone = str(email.context.get("phone", ""))
    digits = "".join(char for char in phone if char in "+0123456789")
    # RFC 5724: a number and the body, percent-encoded.
    sms = f"sms:{digits}?body={quote(said, safe='')}" if digits else ""
    return ToTell(email, said, phone, sms)


@desk_view
@require_safe
def emails(request: DeskRequest) -> HttpResponseBase:
    search = request.GET.get("q", "").strip()[:100]
    seen, now = queries.worker_seen(), timezone.now()
    failed, waiting, came_back = queries.failed(), queries.waiting(), queries.came_back()
    sources = Sources()
    page = Paginator(queries.sent(search), A_PAGE).get_page(request.GET.get("page"))
    answer: HttpResponse = render(
        request,
        "desk/emails.html",
        {
            "nav": "emails",
            "tell": things_to_tell(),
            "failed": [(email, subject_of(email, sources)) for email in failed[:_AT_MOST]],
            "failed_count": failed.count(),
            "came_back": [(email, subject_of(email, sources)) for email in came_back[:_AT_MOST]],
            "came_back_count": came_back.count(),
            "dead": returned.all_dead(_AT_MOST),
            "to_place": queries.to_place().count(),
            "waiting": [(email, subject_of(email, sources)) for email in waiting[:_AT_MOST]],
            "waiting_count": waiting.count(),
            "pause": queries.standing_pause(now),
            "held_up": queries.held_up(now).count(),
            "now": now,
            "not_needed": [(email, subject_of(email, sources)) for email in queries.not_needed()[:A_FEW]],
            "sent": page,
            "search": search,
            "left_aside": [(catalogue.about(kind), why) for kind, why in left_aside().items()],
            "worker_seen": seen,
            "worker_away": seen is None or seen.is_stale(timezone.now()),
            "as_files": not settings.EMAIL_URL,
            "mailbox": queries.mailbox_trouble(),
            "mail_folder": settings.MAIL_FOLDER,
        },
    )
    return answer


@desk_view
@require_safe
def email(request: DeskRequest, email_id: int) -> HttpResponseBase:
    one = get_object_or_404(Email, pk=email_id)
    trouble = ""
    try:
        said = words(one)
    except NoWords as error:
        said, trouble = None, str(error)
    answer: HttpResponse = render(
        request,
        "desk/email.html",
        {
            "nav": "emails",
            "email": one,
            "subject": said.subject if said else subject_of(one),
            "text": links.hinted(said.text) if said else "",
            "has_html": said is not None,
            "no_words": trouble,
            "tell": _to_tell(one) if one.way == Email.Way.TELL and one.told_at is None else None,
            "enclosures": list(enclosures_of(one).filter(cid="")),
        },
    )
    return answer


@csp(_ONLY_LOOKED_AT)
@xframe_options_sameorigin
@desk_view
@require_safe
def html(request: DeskRequest, email_id: int) -> HttpResponseBase:
    """The email's HTML as a page that may do nothing, for the frame on the email's page."""
    one = get_object_or_404(Email, pk=email_id)
    try:
        said = words(one)
    except NoWords as error:
        raise Http404 from error
    return HttpResponse(with_pictures(one, links.hinted(said.html)))


def with_pictures(email: Email, html: str) -> str:
    """The pictures stand in the page itself: a frame that may do nothing sends no session along by which it
    could ask for them."""
    for row in enclosures_of(email).exclude(cid=""):
        try:
            blob = blobs.fetch(row.ref)
        except (blobs.NotYet, blobs.Gone):
            html = frame.without_picture(html, row.cid)
        else:
            html = frame.with_picture(
                html, row.cid, f"data:{blob.mime};base64,{b64encode(blob.data).decode()}"
            )
    return html


@desk_view
@require_safe
def enclosed(request: DeskRequest, email_id: int, enclosure_id: int) -> HttpResponseBase:
    """What an email carries, to be saved."""
    enclosure = get_object_or_404(get_object_or_404(Email, pk=email_id).enclosures, pk=enclosure_id)
    if enclosure.ref:
        try:
            blob = blobs.fetch(enclosure.ref)
        except (blobs.NotYet, blobs.Gone) as error:
            raise Http404 from error
        answer = HttpResponse(blob.data, content_type=enclosure.mime or blob.mime)
    else:
        answer = HttpResponse(enclosure.text, content_type=f"{enclosure.mime}; charset=utf-8")
    name = quote(enclosure.filename)
    answer["Content-Disposition"] = f"attachment; filename*=UTF-8''{name}"
    return answer


@desk_view
@require_POST
def tell_done(request: DeskRequest, email_id: int) -> HttpResponseBase:
    one = get_object_or_404(Email, pk=email_id)

    def do() -> str:
        actions.told(one)
        return _back(request)

    return pressed(request, do, back=_back(request), said=f"{one.to_name} knows.")


@desk_view
@require_POST
def email_again(request: DeskRequest, email_id: int) -> HttpResponseBase:
    one = get_object_or_404(Email, pk=email_id)

    def do() -> str:
        actions.again(one)
        return _back(request)

    return pressed(request, do, back=_back(request), said="It is back in line.")


@desk_view
@require_POST
def pause_now(request: DeskRequest) -> HttpResponseBase:
    """The emails that wait for the mail server are tried at once."""

    def do() -> str:
        pause.try_now()
        return _back(request)

    return pressed(request, do, back=_back(request), said="It is being tried now.")


@desk_view
@require_POST
def mailbox_now(request: DeskRequest) -> HttpResponseBase:
    """The mailbox is read at once, whatever the next try was to be."""

    def do() -> str:
        mailbox.try_now()
        return _back(request)

    return pressed(request, do, back=_back(request), said="It is being tried now.")


@desk_view
@require_POST
def email_tell(request: DeskRequest, email_id: int) -> HttpResponseBase:
    """What did not arrive is passed on by phone or text instead."""
    one = get_object_or_404(Email, pk=email_id)

    def do() -> str:
        returned.tell_instead(one)
        return reverse("desk:emails") + "#tell"

    said = f"It stands under what to tell {one.to_name}."
    return pressed(request, do, back=reverse("desk:email", args=[one.pk]), said=said)


def _back(request: DeskRequest) -> str:
    """The page at the desk whose press it was ("back" in the form), or the list of emails."""
    back = request.POST.get("back", "")
    if back.startswith(reverse("desk:commissions")) and url_has_allowed_host_and_scheme(back, None):
        return back
    pages = (reverse("desk:emails"), reverse("desk:today"))
    return back if back in pages else pages[0]


urls = [
    path("emails/", emails, name="emails"),
    path("emails/mailbox/", mailbox_now, name="mailbox-now"),
    path("emails/pause/", pause_now, name="pause-now"),
    path("emails/<int:email_id>/", email, name="email"),
    path("emails/<int:email_id>/html/", html, name="email-html"),
    path("emails/<int:email_id>/enclosed/<int:enclosure_id>/", enclosed, name="email-enclosed"),
    path("emails/<int:email_id>/told/", tell_done, name="tell-done"),
    path("emails/<int:email_id>/again/", email_again, name="email-again"),
    path("emails/<int:email_id>/tell/", email_tell, name="email-tell"),
]
