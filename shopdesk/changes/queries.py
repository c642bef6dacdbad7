"""Changes, by commission and by what they wait for."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet
from django.http import Http404

from shopdesk.changes.models import Change
from shopdesk.commissions.models import Commission


def _whole() -> QuerySet[Change]:
    rows = Change.objects.select_related("document", "user", "paper__picture")
    return rows.defer("document__content").prefetch_related("shots__picture__renditions")


def changes_of(commission: Commission) -> list[Change]:
    """All changes of a commission, newest first, with their pictures and documents. Five statements."""
    return list(_whole().filter(commission=commission).order_by("-number"))


def change_of(commission: Commission, number: int) -> Change:
    """One of them. Raises `Http404`."""
    found = _whole().filter(commission=commission, number=number).first()
    if found is None:
        raise Http404
    return found


def answered(most: int = 50) -> list[Change]:
    """Changes that a client answered and the owner has not noted yet, longest answered first."""
    return list(
        Change.objects.filter(
            state__in=[Change.State.ACCEPTED, Change.State.DECLINED], user=None, noted_at=None
        )
        .select_related("commission__client")
        .prefetch_related("commission__pieces")
        .order_by("answered_at")[:most]
    )


def open_changes(commissions: Iterable[Commission]) -> dict[int, Change]:
    """What waits for an answer, for many commissions, by their id."""
    found = Change.objects.filter(commission__in=[one.pk for one in commissions], state=Change.State.PROPOSED)
    return {change.commission_id: change for change in found}
