"""Who is really asking, when there is a proxy in front."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, QueryDict

from shopdesk.base.limits import origin


class TrustedProxies:
    """Believe X-Forwarded-For and X-Forwarded-Proto from the proxies that are named in the settings, and
    from nobody else.

    The client's address is the last one in X-Forwarded-For that is not itself a trusted proxy: what stands
    before it, the client could have written.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        trusted = set(settings.TRUSTED_PROXIES)
        if request.META.get("REMOTE_ADDR") in trusted:
            hops = [
                hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if hop.strip()
            ]
            while hops and hops[-1] in trusted:
                hops.pop()
            if hops:
                request.META["REMOTE_ADDR"] = hops[-1]
            if request.META.get("HTTP_X_FORWARDED_PROTO") == "https":
                request.META["wsgi.url_scheme"] = "https"
        return self.get_response(request)


class NoNul:
    """A NUL in an address or a form comes from no browser, and PostgreSQL stores none: 400, whatever the
    database. The request form takes them out of what was pasted by itself (`intake.words`)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info or _has_nul(request.GET):
            raise SuspiciousOperation("A NUL in the address.")
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_: Any) -> None:
        cleans_itself = request.path_info.startswith("/request/")
        if request.method == "POST" and not cleans_itself and _has_nul(request.POST):
            raise SuspiciousOperation("A NUL in a form.")


def _has_nul(typed: QueryDict) -> bool:
    return any("\0" in name or any("\0" in value for value in values) for name, values in typed.lists())


def origin_of(request: HttpRequest) -> str:
    """Whom a limit counts a request to: the address, or for IPv6 the network that it is of."""
    return origin(address_of(request))


def address_of(request: HttpRequest) -> str:
    """The network address that a request came from."""
    return str(request.META.get("REMOTE_ADDR", ""))[:45]
