"""From a quote's rows to `craft.pricing` and back: the only way by which a quote is added up."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, cast

from shopdesk.craft import pricing
from shopdesk.craft.asking import with_minimum
from shopdesk.craft.money import split
from shopdesk.craft.rounding import EXACT
from shopdesk.look import formats
from shopdesk.quotes.choices import by_id, choices_of, extremes
from shopdesk.quotes.models import Line, Quote
from shopdesk.quotes.typed import TypedLine

ZERO = Decimal(0)
CHOSEN, TICKED = "What is chosen", "What you ticked"


@dataclass(frozen=True)
class Terms:
    """What goes on top of the lines and options of a quote and comes off at last; the deposit's share and
    rush in percent."""

    deposit_share: Decimal
    minimum: Decimal = ZERO
    rush_share: Decimal = ZERO
    discount: Decimal = ZERO
    discount_words: str = ""


@dataclass(frozen=True)
class Added:
    """A quote added up. `totals` holds everything; of its `options`, `ticked` are the options themselves and
    `topped_up` is what was added to reach the minimum charge; `rush` is what haste adds, and `discount` what
    is taken off, as a sum above zero."""

    totals: pricing.Totals
    terms: Terms
    ticked: Decimal = ZERO
    topped_up: Decimal = ZERO
    rush: Decimal = ZERO
    discount: Decimal = ZERO


def tax_rule(quote: Quote) -> pricing.TaxRule:
    basis = cast(Literal["item", "invoice"], quote.tax_basis)
    return pricing.TaxRule(quote.tax_rate, basis, quote.tax_name)


def terms_of(quote: Quote) -> Terms:
    rush = quote.rush_share if quote.rush else ZERO
    return Terms(quote.deposit_share, quote.minimum, rush, quote.discount, quote.discount_words)


def typed_line(line: Line) -> TypedLine:
    """A row as it was typed."""
    by_number = [(Decimal(least), Decimal(price)) for least, price in line.by_number]
    return TypedLine(
        line.kind,
        line.text,
        line.unit_price,
        line.quantity,
        line.unit,
        line.taxable,
        line.allowance,
        by_number,
    )


def totals_of(quote: Quote, chosen: Collection[int] = ()) -> Added:
    """A quote added up with these of its options ticked (by id). Piece keys are the rows' ids. Raises
    `ValueError` with a sentence."""
    pieces = {str(piece.pk): [typed_line(line) for line in piece.lines.all()] for piece in quote.pieces.all()}
    options = [(option.price, option.taxable) for option in quote.options.all() if option.pk in chosen]
    return added_up(quote, priced_lines(pieces), options, terms_of(quote))


def priced_lines(pieces: Mapping[str, Sequence[TypedLine]]) -> list[pricing.PieceLines]:
    return [pricing.PieceLines(key, tuple(line.priced() for line in lines)) for key, lines in pieces.items()]


def added_up(
    quote: Quote,
    lined: Sequence[pricing.PieceLines],
    options: Sequence[tuple[Decimal, bool]],
    terms: Terms,
) -> Added:
    """Pieces, and options at a price, taxed or not, added up under a quote's currency and tax.

    In this order: what the work comes to; up to the minimum charge; rush on that; the discount, at most all
    of it. What is added or taken off is taxed in the proportion of the work it stands on. Raises
    `ValueError` with a sentence.
    """
    ticked = [pricing.Option(str(row), price, taxed) for row, (price, taxed) in enumerate(options)]
    tax, deposit = tax_rule(quote), pricing.DepositRule(share=terms.deposit_share)
    plain = pricing.totals(lined, ticked, tax, deposit, quote.currency)
    work = plain.subtotal
    topped_up = EXACT.subtract(with_minimum(work, terms.minimum, quote.currency).value, work)
    if not (topped_up or terms.rush_share or terms.discount):
        return Added(plain, terms, plain.options)
    shares = [plain.taxable, max(ZERO, EXACT.subtract(work, plain.taxable))]
    untaxed_alone = [ZERO, Decimal(1)]
    extra = [
        pricing.Option(f"minimum-{taxed}", part, taxed)
        for part, taxed in zip(
            split(topped_up, shares if any(shares) else untaxed_alone, quote.currency),
            (True, False),
            strict=True,
        )
        if part
    ]
    whole = pricing.totals(
        lined,
        [*ticked, *extra],
        tax,
        deposit,
        quote.currency,
        rush_percent=terms.rush_share,
        discount=pricing.Discount(sum=terms.discount),
    )
    return Added(whole, terms, plain.options, topped_up, whole.rush, whole.discount)


def sums_of(
    added: Added,
    quote: Quote,
    locale: str,
    open_still: Sequence[str] = (),
    *,
    with_choices: bool = False,
) -> list[dict[str, str]]:
    """A quote's figures as label, amount and kind: "sum" above the total, "total", and "after" it.
    `open_still` names the choices that were reckoned with at their cheapest; `with_choices`: some of the
    options are chosen between."""
    totals = added.totals

    def written(value: Decimal) -> str:
        return formats.amount(value, quote.currency, locale)

    share = added.terms.deposit_share
    rows: list[tuple[str, str, str]] = []
    if added.ticked or added.topped_up or added.rush or added.discount:
        rows.append(("Your pieces", written(sum(totals.pieces.values(), ZERO)), "sum"))
    if added.ticked:
        chosen = f"What you chose, with the lowest of: {', '.join(open_still)}" if open_still else ""
        rows.append((chosen or (CHOSEN if with_choices else TICKED), written(added.ticked), "sum"))
    if added.topped_up:
        rows.append(("Up to our smallest charge", written(added.topped_up), "sum"))
    if added.rush:
        haste = formats.number(added.terms.rush_share, locale)
        rows.append((f"Done sooner, {haste} %", written(added.rush), "sum"))
    if added.discount:
        rows.append((added.terms.discount_words.strip() or "Discount", written(-added.discount), "sum"))
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
    options = by_id(quote.options.all())
    for choice in choices_of(options):
        if len(choice.ways) < 2:
            said.append(f"“{choice.name}” has one way only: add another, or let it be one to tick.")
    if not said:
        try:
            for answer in [(), *extremes(options)]:
                totals_of(quote, answer)
        except ValueError as error:
            said.append(str(error))
    return said
