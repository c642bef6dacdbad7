"""The link in an email that stops its sort: emails about progress, or reminders (RFC 8058).

It carries the grant's id, the sort and an HMAC over both, and does that one thing: whoever it was forwarded
to comes no further by it. It holds for as long as the grant is there, also when the client's own links have
been replaced by newer ones: an old email can be stopped too."""

from __future__ import annotations

import base64
import hashlib
import hmac
from typing import Literal, get_args

from django.conf import settings
from django.urls import reverse

from shopdesk.clients.models import Client, Grant

Sort = Literal["news", "reminder"]
"""What can be stopped: the sorts of emails (`shopdesk.mail.models.Email.Sort`) that are no necessity."""
SORTS: tuple[Sort, ...] = get_args(Sort)
COLUMN: dict[str, str] = {"news": "no_news_since", "reminder": "no_reminders_since"}
"""Where a client's row says since when each is stopped."""


def is_off(client: Client, sort: str) -> bool:
    """Whether a client has emails of that sort switched off. What is necessary always goes."""
    return sort in COLUMN and getattr(client, COLUMN[sort]) is not None


def _seal(grant_id: int, sort: str) -> str:
    digest = hmac.new(
        settings.SECRET_KEY.encode(), f"shopdesk stop {sort} of grant {grant_id}".encode(), hashlib.sha256
    ).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def placeholder(grant: Grant, sort: str) -> str:
    """What stands in a stored email instead of the link; "" for a sort that cannot be stopped."""
    return f"shopdesk-link:stop/{grant.pk}/{sort}" if sort in SORTS else ""


def write_link(rest: str) -> str:
    """For `shopdesk.mail.links`: "17/news" → the absolute address. Raises `LookupError` for anything
    else."""
    grant_id, _, sort = rest.partition("/")
    if sort not in SORTS:
        raise LookupError(f"“{sort}” cannot be stopped")
    path = reverse("portal:stop", args=[f"{int(grant_id)}.{sort}.{_seal(int(grant_id), sort)}"])
    return f"{settings.PUBLIC_URL}{path}"


def opened(token: str) -> tuple[Client, Sort] | None:
    """Whose emails of which sort a link's token stops; `None` for one that is wrong, or whose client is
    gone."""
    grant_id, _, rest = token.partition(".")
    sort, _, seal = rest.partition(".")
    if not grant_id.isascii() or not grant_id.isdigit() or len(grant_id) > 15 or sort not in SORTS:
        return None
    if not hmac.compare_digest(_seal(int(grant_id), sort).encode(), seal.encode()):
        return None
    grant = Grant.objects.select_related("client").filter(pk=int(grant_id)).first()
    return (grant.client, sort) if grant else None
