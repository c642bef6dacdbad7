"""Who is really asking, when there is a proxy in front."""

import ipaddress
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, QueryDict

from shopdesk.base.limits import origin

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class TrustedProxies:
    """Believe X-Forwarded-For and X-Forwarded-Proto from the proxies that are named in the settings, and
    from nobody else.

    The client's address is the last one in X-Forwarded-For that is not itself a trusted proxy: what stands
    before it, the client could have written. What is no address ("unknown", an obfuscated name) ends the
    search: nobody is counted under words of their own choice.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        seen = _address(request.META.get("REMOTE_ADDR", ""))
        if seen is not None and _is_trusted(seen):
            for hop in reversed(request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")):
                before = _address(hop)
                if before is None:
                    break
                seen = before
                if not _is_trusted(seen):
                    break
            request.META["REMOTE_ADDR"] = str(seen)
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


def _is_trusted(address: Address) -> bool:
    return any(address in network for network in settings.TRUSTED_PROXIES)


def _address(written: str) -> Address | None:
    """The address in one entry: alone, or with the port that some proxies add (`203.0.113.7:4711`,
    `[2001:db8::7]:4711`). None for anything else."""
    written = written.strip()
    if written.startswith("["):
        written = written[1:].partition("]")[0]
    elif written.count(":") == 1:
        written = written.partition(":")[0]
    try:
        found = ipaddress.ip_address(written.partition("%")[0])
    except ValueError:
        return None
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return mapped or found


def origin_of(request: HttpRequest) -> str:
    """Whom a limit counts a request to: the address, or for IPv6 the network that it is of."""
    return origin(address_of(request))


def address_of(request: HttpRequest) -> str:
    """The network address that a request came from."""
    return str(request.META.get("REMOTE_ADDR", ""))[:45]
