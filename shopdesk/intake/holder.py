"""Who holds a draft: the browser with its cookie, signed, so that nobody can try keys."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.urls import reverse

from shopdesk.intake.actions import FORGET_AFTER
from shopdesk.intake.queries import draft_of

_COOKIE = "shopdesk-request"
_SALT = "shopdesk.intake.draft"


def held_key(request: HttpRequest) -> uuid.UUID | None:
    """The key of the draft that this browser holds, sent or not; there need not be a row for it yet."""
    signed = request.get_signed_cookie(_COOKIE, default=None, salt=_SALT, max_age=FORGET_AFTER)
    try:
        return uuid.UUID(signed) if signed else None
    except ValueError:
        return None


def open_key(request: HttpRequest, otherwise: uuid.UUID | None = None) -> uuid.UUID:
    """The key of the draft that this browser is writing: the one it holds, unless that has been sent; then
    `otherwise`, or a new one."""
    key = held_key(request)
    if key is not None:
        draft = draft_of(key)
        if draft is None or draft.commission is None:
            return key
    return otherwise or uuid.uuid4()


def give(response: HttpResponseBase, key: uuid.UUID) -> None:
    """Hand the browser the draft with that key."""
    response.set_signed_cookie(
        _COOKIE,
        str(key),
        salt=_SALT,
        max_age=FORGET_AFTER,
        path=reverse("intake:request"),
        httponly=True,
        secure=settings.SECURE,
        samesite="Lax",
    )
