"""Commissions, looked up and listed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Count, Exists, Min, OuterRef, Prefetch, Q, QuerySet, Window
from django.db.models.functions import Coalesce, RowNumber
from django.http import Http404

from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission, JournalLine, Letter, Piece, Shot, Stage
from shopdesk.commissions.stages import ENDS


def _whole() -> QuerySet[Commission]:
    return Commission.objects.select_related("client").prefetch_related(
        Prefetch("pieces", Piece.objects.order_by("position"))
    )


def at_desk(number: str) -> Commission:
    """A commission by number, with client and pieces, for the owner. Raises `Http404`."""
    commission = _whole().filter(number=number).first()
    if commission is None:
        raise Http404
    return commission


def of_client(client: Client, number: str) -> Commission:
    """A client's own commission. Raises `Http404` for one that is not theirs, as for one that is not
    there."""
    commission = _whole().filter(number=number, client=client).first()
    if commission is None:
        raise Http404
    return commission


def all_of_clients(clients: Sequence[Client]) -> list[Commission]:
    return list(_whole().filter(client__in=clients).order_by("-requested_at", "-id"))


def owner_among(clients: Sequence[Client], number: str) -> Client | None:
    """Which of these clients a commission belongs to; `None` if to none of them."""
    found = Commission.objects.filter(number=number, client__in=clients).values_list("client", flat=True)
    whose = found.first()
    return next((client for client in clients if client.pk == whose), None)


def shots_of(commission: Commission, *, for_client: bool = False) -> list[Shot]:
    """Every picture of a commission in order."""
    shots = Shot.objects.filter(commission=commission).select_related("picture")
    return list(shots.filter(for_client=True) if for_client else shots)


def journal_of(commission: Commission, *, for_client: bool = False) -> list[JournalLine]:
    """The history, oldest first; for the client only what is meant for them."""
    lines = JournalLine.objects.filter(commission=commission).select_related("user").order_by("at", "id")
    return list(lines.filter(for_client=True) if for_client else lines)


def faces(commission_ids: Iterable[int], *, for_client: bool = False) -> dict[int, Shot]:
    """The picture that each commission is known by: its finished one, else the first that was sent. One
    statement for any number of commissions."""
    rows = Shot.objects.filter(commission__in=list(commission_ids)).exclude(kind__in=_NOT_A_FACE)
    if for_client:
        rows = rows.filter(for_client=True)
    face = Coalesce(Min("id", filter=Q(kind=Shot.Kind.FINAL)), Min("id"))
    picked = rows.order_by().values("commission").annotate(face=face).values("face")
    return {shot.commission_id: shot for shot in Shot.objects.filter(id__in=picked).select_related("picture")}


_NOT_A_FACE = (Shot.Kind.PAPER, Shot.Kind.SAMPLE, Shot.Kind.MESSAGE)


def search(words: str = "", stage: str = "") -> QuerySet[Commission]:
    """Commissions whose number, client or piece has every one of the words, newest first."""
    found = _whole().order_by("-requested_at", "-id")
    for word in words.split()[:6]:
        found = found.filter(
            Q(number__icontains=word)
            | Q(client__name__icontains=word)
            | Exists(Piece.objects.filter(commission=OuterRef("pk"), name__icontains=word))
        )
    return found.filter(stage=stage) if stage else found


@dataclass
class AtStage:
    """Commissions at one stage, longest there first, as many as were asked for, of `total` in all."""

    shown: list[Commission] = field(default_factory=list)
    total: int = 0


def open_by_stage(most: int) -> defaultdict[str, AtStage]:
    """The commissions that have not ended, and those that went home unpaid, by stage, at most so many of
    each, with clients and pieces. Two statements."""
    rows = (
        Commission.objects.filter(~Q(stage__in=ENDS) | Q(stage=Stage.COLLECTED, settled_at=None))
        .annotate(
            rank=Window(RowNumber(), partition_by="stage", order_by=["stage_since", "id"]),
            of_stage=Window(Count("id"), partition_by="stage"),
        )
        .filter(rank__lte=most)
        .select_related("client")
        .prefetch_related(Prefetch("pieces", Piece.objects.order_by("position")))
        .order_by("stage_since", "id")
    )
    listed: defaultdict[str, AtStage] = defaultdict(AtStage)
    for commission in rows:
        listed[commission.stage].shown.append(commission)
        listed[commission.stage].total = commission.of_stage
    return listed


def letters_of(commission: Commission) -> list[Letter]:
    """Every email of a commission, newest first."""
    return list(Letter.objects.filter(commission=commission).select_related("email").order_by("-id"))
