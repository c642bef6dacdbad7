"""The client's door: a link that carries a grant's id and its HMAC, and the session that it starts.

The HMAC (SHA-256, under the shop's secret key) covers the grant's id and version. Whoever holds the link is
the client; raising the version closes every door that earlier links opened, sessions included.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase, HttpResponseRedirect
from django.urls import reverse

from shopdesk.base.caching import kept_only_if_said
from shopdesk.base.middleware import address_of
from shopdesk.base.who import Who
from shopdesk.clients.models import Client, Grant

P = ParamSpec("P")
_SESSION = "client"


class ClientRequest(HttpRequest):
    """A request of a client who came in by their link."""

    client: Client


def _seal(grant_id: int, version: int) -> str:
    digest = hmac.new(
        settings.SECRET_KEY.encode(), f"shopdesk grant {grant_id} version {version}".encode(), hashlib.sha256
    ).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def link(grant: Grant, path: str) -> str:
    """The absolute address that lets a client in and leads on to `path` ("/my/26-014/"). It is a key: never
    store it."""
    door = reverse("portal:enter", args=[f"{grant.pk}.{_seal(grant.pk, grant.version)}"])
    return f"{settings.PUBLIC_URL}{door}?{urlencode({'to': path})}"


def placeholder(grant: Grant, path: str) -> str:
    """What stands in a stored email instead of `link(grant, path)`."""
    return f"shopdesk-link:client/{grant.pk}{path}"


def write_link(rest: str) -> str:
    """For `shopdesk.mail.links`: "17/my/26-014/" → the link. Raises `LookupError` for a grant that is
    gone."""
    grant_id, _, path = rest.partition("/")
    grant = Grant.objects.filter(pk=int(grant_id)).first()
    if grant is None:
        raise LookupError(f"grant {grant_id} is gone")
    return link(grant, f"/{path}")


def open_door(request: HttpRequest, token: str) -> bool:
    """Start a session for the client that a link's token belongs to. `False` for a token that is wrong, old
    or revoked."""
    grant_id, _, seal = token.partition(".")
    if not grant_id.isascii() or not grant_id.isdigit() or len(grant_id) > 15:
        return False
    grant = Grant.objects.filter(pk=int(grant_id)).first()
    # The seal is computed for a missing grant too, so that both take the same time.
    expected = _seal(int(grant_id), grant.version if grant else 0)
    if not hmac.compare_digest(expected.encode(), seal.encode()) or grant is None:
        return False
    request.session.cycle_key()
    request.session[_SESSION] = [grant.pk, grant.version]
    return True


def client_or_none(request: HttpRequest) -> Client | None:
    """The client whose session this is, if their grant has not been revoked meanwhile."""
    held = request.session.get(_SESSION)
    if not held:
        return None
    grant = Grant.objects.select_related("client").filter(pk=held[0], version=held[1]).first()
    return grant.client if grant else None


def client_view(
    view: Callable[Concatenate[ClientRequest, P], HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Only for a client who came in by their link. Anybody else is offered a fresh link."""

    @kept_only_if_said
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        client = client_or_none(request)
        if client is None:
            return HttpResponseRedirect(reverse("portal:fresh-link"))
        request.client = client  # type: ignore[attr-defined]
        return view(cast(ClientRequest, request), *args, **kwargs)

    guarded.needs = "client"  # type: ignore[attr-defined]  # read by the test that walks every address
    return guarded


def client_of(request: ClientRequest) -> Who:
    return Who("client", request.client.pk, address_of(request))
