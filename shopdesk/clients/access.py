"""The client's door: a link that carries a grant's id and its HMAC, and the session that it starts.

The HMAC (SHA-256, under the shop's secret key) covers the grant's id and version. Whoever holds the link is
the client; raising the version closes every door that earlier links opened, sessions included.

Somebody may be two clients to the shop: a name spelled in two ways, or two people with one mailbox. Their
links open one session that holds both grants, as long as both clients have the same email address.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from collections.abc import Callable, Collection, Sequence
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
_SESSION = "clients"
"""Ids and versions of the grants whose links were opened, the latest last."""
_MOST_HELD = 5
Pick = Callable[[Sequence[Client], str], Client | None]
_pick: list[Pick] = []


def register_pick(pick: Pick) -> None:
    """`pick` says which of several clients a commission belongs to, by its number."""
    _pick[:] = [pick]


class ClientRequest(HttpRequest):
    """A request of a client who came in by their link. `clients` are all that the session lets in; `client`
    is the one whose commission the address names, or else the one who came in last."""

    client: Client
    clients: Sequence[Client]


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
    return write_links([rest])[rest]


def write_links(rests: Collection[str]) -> dict[str, str]:
    """The same for many, without those whose grant is gone."""
    parts = {rest: rest.partition("/") for rest in rests}
    ids = {int(first) for first, _, _ in parts.values() if first.isdecimal()}
    grants = Grant.objects.in_bulk(ids)
    return {
        rest: link(grants[int(first)], f"/{path}")
        for rest, (first, _, path) in parts.items()
        if first.isdecimal() and int(first) in grants
    }


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
    held = [one for one in _held(request) if one[0] != grant.pk]
    request.session.cycle_key()
    request.session[_SESSION] = [*held, [grant.pk, grant.version]][-_MOST_HELD:]
    return True


def _held(request: HttpRequest) -> list[list[int]]:
    return list(request.session.get(_SESSION, []))


def clients_in(request: HttpRequest) -> list[Client]:
    """The clients whose session this is, as far as their grants have not been revoked meanwhile: who came in
    last, and those who share an email address with them. Who came in last stands last."""
    held = _held(request)
    if not held:
        return []
    grants = Grant.objects.select_related("client").in_bulk([pk for pk, _ in held])
    there = [grants[pk].client for pk, version in held if pk in grants and grants[pk].version == version]
    return [one for one in there if one == there[-1] or (one.email and one.email == there[-1].email)]


def client_view(
    view: Callable[Concatenate[ClientRequest, P], HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Only for a client who came in by their link. Anybody else is offered a fresh link."""

    @kept_only_if_said
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        clients = clients_in(request)
        if not clients:
            return HttpResponseRedirect(reverse("portal:fresh-link"))
        client = clients[-1]
        if len(clients) > 1 and "number" in kwargs and _pick:
            client = _pick[0](clients, str(kwargs["number"])) or client
        request.clients, request.client = clients, client  # type: ignore[attr-defined]
        return view(cast(ClientRequest, request), *args, **kwargs)

    guarded.needs = "client"  # type: ignore[attr-defined]  # read by the test that walks every address
    return guarded


def client_of(request: ClientRequest) -> Who:
    return Who("client", request.client.pk, address_of(request))
