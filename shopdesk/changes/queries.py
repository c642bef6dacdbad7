"""Changes, by commission and by what they wait for."""

from __future__ import annotations

from django.db.models import F, Prefetch, Q, QuerySet
from django.http import Http404

from shopdesk.changes.models import Change
from shopdesk.commissions.models import Commission, Shot


def _whole() -> QuerySet[Change]:
    rows = Change.objects.select_related("document", "user", "paper__picture")
    return rows.defer("document__content").prefetch_related(
        Prefetch("shots", Shot.objects.select_related("picture"))
    )


def changes_of(commission: Commission) -> list[Change]:
    """All changes of a commission, newest first, with their pictures and documents. Two statements."""
    return list(_whole().filter(commission=commission).order_by("-number"))


def change_of(commission: Commission, number: int) -> Change:
    """One of them. Raises `Http404`."""
    found = _whole().filter(commission=commission, number=number).first()
    if found is None:
        raise Http404
    return found


def at_hand(most: int = 200) -> list[Change]:
    """Changes that wait for their client's answer, and those that a client answered and the owner has not
    noted yet, longest standing first, with commission and client. One statement."""
    rows = Change.objects.filter(
        Q(state=Change.State.PROPOSED)
        | Q(state__in=[Change.State.ACCEPTED, Change.State.DECLINED], user=None, noted_at=None)
    )
    return list(
        rows.select_related("commission__client").order_by(F("answered_at").asc(nulls_last=True), "pk")[:most]
    )
