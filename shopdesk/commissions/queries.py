"""Commissions, looked up and listed."""

from __future__ import annotations

from django.db.models import Prefetch, QuerySet
from django.http import Http404

from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission, JournalLine, Piece, Shot


def _whole() -> QuerySet[Commission]:
    return Commission.objects.select_related("client").prefetch_related(Prefetch("pieces", Piece.objects.order_by("position")))


def at_desk(number: str) -> Commission:
    """A commission by number, with client and pieces, for the owner. Raises `Http404`."""
    commission = _whole().filter(number=number).first()
    if commission is None:
        raise Http404
    return commission


def of_client(client: Client, number: str) -> Commission:
    """A client's own commission. Raises `Http404` for one that is not theirs, as for one that is not there."""
    commission = _whole().filter(number=number, client=client).first()
    if commission is None:
        raise Http404
    return commission


def all_of_client(client: Client) -> list[Commission]:
    return list(_whole().filter(client=client).order_by("-requested_at", "-id"))


def shots_of(commission: Commission, *, for_client: bool = False) -> list[Shot]:
    """Every picture of a commission in order, with its renditions."""
    shots = Shot.objects.filter(commission=commission).select_related("picture").prefetch_related("picture__renditions")
    return list(shots.filter(for_client=True) if for_client else shots)


def journal_of(commission: Commission, *, for_client: bool = False) -> list[JournalLine]:
    """The history, oldest first; for the client only what is meant for them."""
    lines = JournalLine.objects.filter(commission=commission).select_related("user").order_by("at", "id")
    return list(lines.filter(for_client=True) if for_client else lines)
