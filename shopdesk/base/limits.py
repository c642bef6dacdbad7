"""How often somebody may do something. Counted in a row by a guarded update, so that no count is lost."""

import ipaddress
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from shopdesk.base.models import Limit


def origin(address: str) -> str:
    """What a limit counts by for somebody at that network address: for IPv6 its /64, since every household
    has as many addresses as it likes (RFC 4291, 2.5.4; RFC 6177)."""
    try:
        given = ipaddress.ip_address(address)
    except ValueError:
        return address
    if not isinstance(given, ipaddress.IPv6Address):
        return str(given)
    if given.ipv4_mapped is not None:
        return str(given.ipv4_mapped)
    return f"{ipaddress.IPv6Address(int(given) >> 64 << 64)}/64"


def allow(name: str, *, most: int, span: timedelta, count: int = 1) -> bool:
    """Count one use of `name` ("sign-in 203.0.113.7"), or `count` at once; `False`, and nothing counted, when
    that would make more than `most` within the span."""
    if count > most:
        return False
    now = timezone.now()
    name = name[:120]
    rows = Limit.objects.filter(name=name)
    fresh = rows.filter(span_started_at__gt=now - span)
    with_room = fresh.filter(count__lte=most - count)
    if with_room.update(count=F("count") + count):
        return True
    if fresh.filter(count__gt=most - count).exists():
        return False
    if rows.filter(span_started_at__lte=now - span).update(count=count, span_started_at=now):
        return True
    try:
        with transaction.atomic():
            Limit.objects.create(name=name, count=count, span_started_at=now)
    except IntegrityError:  # somebody else began the span in this moment
        return bool(with_room.update(count=F("count") + count))
    return True


def give_back(name: str) -> None:
    """Take one use of `name` back: it turned out to be one that does not count."""
    Limit.objects.filter(name=name[:120], count__gt=0).update(count=F("count") - 1)
