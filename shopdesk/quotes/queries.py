"""Quotes, looked up whole: pieces, lines, options, document and acceptance in a fixed number of
statements."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Prefetch, QuerySet
from django.http import Http404

from shopdesk.commissions.models import Commission
from shopdesk.pricebook.models import Schedule
from shopdesk.quotes.models import Acceptance, Estimate, Line, Option, Override, Quote, QuotePiece

OPEN = (Quote.State.SENT, Quote.State.ACCEPTED)


def _whole() -> QuerySet[Quote]:
    pieces = QuotePiece.objects.order_by("position").select_related("piece")
    return Quote.objects.select_related("document", "acceptance").prefetch_related(
        Prefetch("pieces", pieces.prefetch_related(Prefetch("lines", Line.objects.order_by("position")))),
        Prefetch("options", Option.objects.order_by("position")),
    )


def open_quote(commission: Commission) -> Quote | None:
    """The one that was sent and counts, or was accepted."""
    return _whole().filter(commission=commission, state__in=OPEN).first()


def draft_of(commission: Commission) -> Quote | None:
    """The one that is being written."""
    return _whole().filter(commission=commission, state=Quote.State.DRAFT).first()


def draft_alone(number: str) -> Quote | None:
    """The one that is being written for a commission, with that, but without what was kept of the quote's
    pieces, lines and options. One statement."""
    drafts = Quote.objects.filter(commission__number=number, state=Quote.State.DRAFT)
    return drafts.select_related("commission").first()


def heads(commissions: Iterable[Commission]) -> list[Quote]:
    """Every revision for these commissions, drafts too, newest first: state, dates and document, for pages
    that only name the quotes. One statement; pieces, options and what was frozen are not read."""
    found = Quote.objects.filter(commission__in=[one.pk for one in commissions]).select_related("document")
    unread = ("frozen", "note", "included", "not_included", "terms", "document__content")
    return list(found.defer(*unread).order_by("-revision"))


def history(commission: Commission) -> list[Quote]:
    """All that went out, newest first."""
    gone_out = _whole().filter(commission=commission).exclude(state=Quote.State.DRAFT)
    return list(gone_out.order_by("-revision"))


def acceptance_of(commission: Commission) -> Acceptance | None:
    """What was accepted, with its quote, its options and the paper it was signed on."""
    found = Acceptance.objects.filter(commission=commission).select_related(
        "quote__document", "paper__picture", "user"
    )
    return found.prefetch_related("options", "paper__picture__renditions").first()


def revision_of(commission: Commission, revision: int, *, draft: bool = False) -> Quote:
    """One revision, whole. Raises `Http404` for one that is not there, and for a draft unless asked for."""
    quote = _whole().filter(commission=commission, revision=revision).first()
    if quote is None or (quote.is_draft and not draft):
        raise Http404
    return quote


def sent_before(quote: Quote) -> Quote | None:
    """The revision that was out last before this one, with what it said."""
    gone_out = Quote.objects.filter(commission_id=quote.commission_id, revision__lt=quote.revision)
    return gone_out.exclude(state=Quote.State.DRAFT).order_by("-revision").first()


def whole(quote_id: int) -> Quote:
    return _whole().get(pk=quote_id)


def estimates_of(quote: Quote) -> dict[int, Estimate]:
    """The estimates of a quote's pieces by the quoted piece's id, each with its figures that were put in by
    hand, oldest first, and who did. Two statements."""
    overrides = Override.objects.order_by("id").select_related("user")
    found = (
        Estimate.objects.filter(quoted__quote=quote)
        .select_related("quoted")
        .prefetch_related(Prefetch("overrides", overrides))
    )
    return {estimate.quoted_id: estimate for estimate in found}


def schedule_names() -> dict[str, str]:
    """The price book's schedules in use, to choose from: name by id."""
    found = Schedule.objects.filter(retired_at=None).order_by("name", "id")
    return {str(pk): name for pk, name in found.values_list("pk", "name")}
