"""From a quote's rows to `craft.pricing` and back: the only way by which a quote is added up."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Literal, cast

from shopdesk.craft import pricing
from shopdesk.craft.rounding import EXACT
from shopdesk.look import formats
from shopdesk.quotes.models import Option, Quote
from shopdesk.quotes.typed import TypedLine


def tax_rule(quote: Quote) -> pricing.TaxRule:
    basis = cast(Literal["item", "invoice"], quote.tax_basis)
    return pricing.TaxRule(quote.tax_rate, basis, quote.tax_name)


def deposit_rule(quote: Quote) -> pricing.DepositRule:
    return pricing.DepositRule(share=quote.deposit_share)


def priced_pieces(quote: Quote) -> list[pricing.PieceLines]:
    """The pieces of a quote's rows, keyed by the row's id."""
    return [
        pricing.PieceLines(
            str(piece.pk),
            tuple(pricing.Line(line.quantity, line.unit_price, line.taxable) for line in piece.lines.all()),
        )
        for piece in quote.pieces.all()
    ]


def priced_options(options: Iterable[Option]) -> list[pricing.Option]:
    return [pricing.Option(str(option.pk), option.price, option.taxable) for option in options]


def totals_of(quote: Quote, chosen: Collection[int] = ()) -> pricing.Totals:
    """A quote added up with these of its options ticked (by id). Raises `ValueError` with a sentence."""
    ticked = [option for option in quote.options.all() if option.pk in chosen]
    return pricing.totals(
        priced_pieces(quote), priced_options(ticked), tax_rule(quote), deposit_rule(quote), quote.currency
    )


def totals_typed(
    quote: Quote,
    pieces: Sequence[Sequence[TypedLine]],
    options: Sequence[tuple[Decimal, bool]],
    deposit_share: Decimal,
) -> pricing.Totals:
    """What is being typed, added up with these options ticked. Piece keys are their positions."""
    return pricing.totals(
        [
            pricing.PieceLines(
                str(position),
                tuple(pricing.Line(line.quantity, line.unit_price, line.taxable) for line in lines),
            )
            for position, lines in enumerate(pieces)
        ],
        [pricing.Option(str(row), price, taxable) for row, (price, taxable) in enumerate(options)],
        tax_rule(quote),
        pricing.DepositRule(share=deposit_share),
        quote.currency,
    )


def sums_of(
    totals: pricing.Totals, quote: Quote, locale: str, share: Decimal | None = None
) -> list[dict[str, str]]:
    """A quote's figures as label, amount and kind: "sum" above the total, "total", and "after" it."""

    def written(value: Decimal) -> str:
        return formats.amount(value, quote.currency, locale)

    share = quote.deposit_share if share is None else share
    rows: list[tuple[str, str, str]] = []
    if totals.options:
        rows.append(("Your pieces", written(EXACT.subtract(totals.subtotal, totals.options)), "sum"))
        rows.append(("What you ticked", written(totals.options), "sum"))
    if quote.tax_rate and totals.taxable:
        rate = formats.number(quote.tax_rate, locale)
        rows.append(("Together, without tax", written(totals.subtotal), "sum"))
        rows.append((f"{quote.tax_name}, {rate} % on {written(totals.taxable)}", written(totals.tax), "sum"))
    rows.append(("Total", formats.money(totals.total, quote.currency, locale), "total"))
    if totals.deposit:
        part = "half" if share == 50 else f"{formats.number(share, locale)} %"
        rows.append(
            (f"Deposit that books your place, {part}, part of the total", written(totals.deposit), "after")
        )
        if totals.balance:
            rows.append(("Due at hand-over", written(totals.balance), "after"))
    return [{"label": label, "amount": amount, "kind": kind} for label, amount, kind in rows]


def missing(quote: Quote, today: date) -> list[str]:
    """What a draft still needs before it can go out, a sentence each. Empty when it can."""
    pieces = list(quote.pieces.all())
    said = [] if pieces else ["Put at least one piece into the quote."]
    for piece in pieces:
        if not piece.lines.all():
            said.append(f"Give the {piece.name} at least one line with a price.")
        if not piece.words.strip():
            said.append(f"Say in words what is done to the {piece.name}.")
    if quote.good_until is None:
        said.append("Say until when the price is good.")
    for day, what in (
        (quote.good_until, "The day until which the price is good"),
        (quote.starts_on, "The day on which work can start"),
        (quote.ready_on, "The day on which it should be ready"),
    ):
        if day is not None and day < today:
            said.append(f"{what} is over by now.")
    if not said:
        try:
            pricing.check_offer(
                priced_pieces(quote),
                priced_options(quote.options.all()),
                tax_rule(quote),
                deposit_rule(quote),
                quote.currency,
            )
        except ValueError as error:
            said.append(str(error))
    return said
