"""A draft's rows: written from what was typed, and copied into the next revision."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import Max

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import NewPiece, add_piece
from shopdesk.commissions.models import Commission, Piece
from shopdesk.quotes.models import Estimate, Line, Option, Override, Quote, QuotePiece
from shopdesk.quotes.queries import estimates_of
from shopdesk.quotes.typed import TypedEstimate, TypedLine, TypedOption, TypedPiece, TypedQuote
from shopdesk.shop.queries import the_shop, today_at


def write_rows(commission: Commission, draft: Quote, typed: TypedQuote, who: Who) -> None:
    """Rows for what was typed. A piece that the commission does not have yet is added to it; one that is not
    typed any more goes, with its estimate."""
    own = {piece.pk: piece for piece in Piece.objects.filter(commission=commission)}
    there = {row.piece_id: row for row in draft.pieces.all()}
    kept = estimates_of(draft)
    named = [row.piece_id for row in typed.pieces]
    draft.pieces.exclude(piece_id__in=[pk for pk in named if pk is not None]).delete()
    for position, row in enumerate(typed.pieces, start=1):
        quoted = there.get(row.piece_id or 0) or QuotePiece(quote=draft, piece=_piece(commission, row, own))
        quoted.position, quoted.name, quoted.words = position, row.name.strip(), row.words.strip()
        quoted.save()
        quoted.lines.all().delete()
        Line.objects.bulk_create(_line(quoted, place, line) for place, line in enumerate(row.lines, start=1))
        _write_estimate(quoted, kept.get(quoted.pk), row.estimate, who)
    draft.options.all().delete()
    Option.objects.bulk_create(
        _option(draft, place, option) for place, option in enumerate(typed.options, start=1)
    )


def copy_rows(last: Quote, draft: Quote) -> None:
    """Everything of an earlier revision, with its estimates and who put in what."""
    kept = estimates_of(last)
    for piece in last.pieces.all():
        quoted = QuotePiece.objects.create(
            quote=draft, piece=piece.piece, position=piece.position, name=piece.name, words=piece.words
        )
        lines = list(piece.lines.all())
        for line in lines:
            line.pk, line.piece = None, quoted
        Line.objects.bulk_create(lines)
        if (estimate := kept.get(piece.pk)) is not None:
            overrides = list(estimate.overrides.all())
            estimate.pk, estimate.quoted = None, quoted
            estimate._state.adding = True
            estimate.save()
            for override in overrides:
                override.pk, override.estimate = None, estimate
            Override.objects.bulk_create(overrides)
    options = list(last.options.all())
    for option in options:
        option.pk, option.quote = None, draft
    Option.objects.bulk_create(options)


def _piece(commission: Commission, row: TypedPiece, own: dict[int, Piece]) -> Piece:
    if row.piece_id is None:
        last = Piece.objects.filter(commission=commission).aggregate(last=Max("position"))["last"] or 0
        return add_piece(commission, NewPiece(row.name.strip()[:120]), last + 1, today_at(the_shop()).year)
    if row.piece_id not in own:
        raise Refused("One of these pieces belongs to another commission.")
    return own[row.piece_id]


def _line(quoted: QuotePiece, place: int, line: TypedLine) -> Line:
    return Line(
        piece=quoted,
        position=place,
        kind=line.kind,
        text=line.text.strip(),
        quantity=line.quantity,
        unit=line.unit.strip(),
        unit_price=line.unit_price,
        taxable=line.taxable,
        allowance=line.allowance,
        by_number=[[str(least), str(price)] for least, price in line.by_number],
    )


def _option(draft: Quote, place: int, option: TypedOption) -> Option:
    return Option(
        quote=draft,
        position=place,
        text=option.text.strip(),
        price=option.price,
        taxable=option.taxable,
        choice=" ".join(option.choice.split()),
        preselected=option.preselected,
        allowance=option.allowance,
    )


def _write_estimate(quoted: QuotePiece, kept: Estimate | None, typed: TypedEstimate | None, who: Who) -> None:
    """Keep an estimate. A figure that was put in, or given back, since it was kept last is one row more."""
    if typed is None:
        if kept is not None:
            kept.delete()
        return
    estimate = kept or Estimate(quoted=quoted)
    estimate.shape, estimate.sizes, estimate.count = typed.shape, dict(typed.sizes), typed.count
    estimate.later, estimate.schedule = typed.later, dict(typed.schedule)
    estimate.save()
    before: dict[str, Decimal | None] = (
        {one.figure: one.value for one in kept.overrides.all()} if kept is not None else {}
    )
    changed = [key for key in {**before, **typed.puts} if typed.puts.get(key) != before.get(key)]
    assert who.id is not None, "an owner writes quotes"
    Override.objects.bulk_create(
        Override(
            estimate=estimate,
            figure=key,
            value=typed.puts.get(key),
            reckoned=_storable(typed.worked_out.get(key)),
            user_id=who.id,
        )
        for key in changed
    )


def _storable(value: Decimal | None) -> Decimal | None:
    return None if value is None else round(value, 6)
