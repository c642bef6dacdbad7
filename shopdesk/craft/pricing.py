"""The one place where a quote is added up. Pages, PDF, acceptance and deposit all show what `totals` says."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from shopdesk.craft.money import LARGEST, exact, minor_units, split
from shopdesk.craft.rounding import EXACT, demand_decimal, half_up, ssuta_324

MOST_OF_A_LINE = Decimal(1_000_000)
MOST_RUSH = Decimal(200)
FINEST = 6  # decimals of a quantity, a unit price or a rate
ZERO = Decimal(0)


@dataclass(frozen=True)
class Line:
    """One of the owner's lines: so many hours, litres or pieces at a price each. Both zero or more.

    `unit_price` may be finer than the currency's smallest coin (screws at 0.125); the line's amount never is.
    """

    quantity: Decimal
    unit_price: Decimal
    taxable: bool


@dataclass(frozen=True)
class PieceLines:
    """A piece of the quote, under a key of the caller's that comes back in `Totals.pieces`."""

    key: str
    lines: tuple[Line, ...]
    _known: dict[str, tuple[Decimal, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def amounts(self, currency: str) -> tuple[Decimal, ...]:
        """What each line comes to; worked out once, however many answers are added up with it."""
        if currency not in self._known:
            self._known[currency] = tuple(line_amount(line, currency) for line in self.lines)
        return self._known[currency]


@dataclass(frozen=True)
class Option:
    """Something the client may tick. A price below zero is a cheaper way: inside left as it is."""

    key: str
    price: Decimal
    taxable: bool


@dataclass(frozen=True)
class OptionGroup:
    """Options of which the client takes exactly one: the group's name for the sentence, and their keys."""

    name: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Discount:
    """What is taken off pieces and options: `percent` of them, or a `sum`; never more than there is."""

    percent: Decimal | None = None
    sum: Decimal | None = None


@dataclass(frozen=True)
class TaxRule:
    """`rate` in percent, 0 to under 100. `basis`: tax rounded on each taxable item, or once on their sum.

    One basis or the other throughout (Streamlined Sales and Use Tax Agreement, section 324 B); the shop
    chooses.
    """

    rate: Decimal
    basis: Literal["item", "invoice"]
    name: str = "Sales tax"


@dataclass(frozen=True)
class DepositRule:
    """What is asked for first: `share` in percent of the total, a fixed `sum`, or (both None) nothing."""

    share: Decimal | None = None
    sum: Decimal | None = None


@dataclass(frozen=True)
class Totals:
    """A quote added up, every figure in whole minor units of its currency.

    `pieces` maps each piece's key to its amount without tax; subtotal = pieces + options + rush − discount;
    total = subtotal + tax; `deposit` is the part of the total that is due first, `balance` the rest.
    `taxable` is what the tax was taken on. `rush` and `discount` are zero or more.
    """

    pieces: dict[str, Decimal]
    options: Decimal
    subtotal: Decimal
    taxable: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal
    balance: Decimal
    rush: Decimal = ZERO
    discount: Decimal = ZERO


def line_amount(line: Line, currency: str) -> Decimal:
    """Quantity times unit price, to the minor unit, halves up: what a line adds to its piece.

    Raises `ValueError` with a sentence for a negative or absurd quantity or price, `TypeError` for a float.
    """
    quantity = _sensible(line.quantity, "A quantity", MOST_OF_A_LINE)
    price = _sensible(line.unit_price, "A unit price", LARGEST)
    return half_up(EXACT.multiply(quantity, price), minor_units(currency))


def totals(
    pieces: Sequence[PieceLines],
    chosen_options: Sequence[Option],
    tax: TaxRule,
    deposit: DepositRule,
    currency: str,
    *,
    groups: Sequence[OptionGroup] = (),
    rush_percent: Decimal = ZERO,
    discount: Discount | None = None,
) -> Totals:
    """Add up a quote with the options that are ticked: exactly one from each of `groups`.

    Rush is a percentage on pieces and options; then the discount comes off, from the taxed and the untaxed
    part by their shares, so that the subtotal is never below zero.

    Rounding: a line's amount, and a deposit by share, go half up to the minor unit (`rounding.half_up`); tax
    goes by SSUTA section 324 (`rounding.ssuta_324`), on each taxable line and option or on their sum, as the
    rule's basis says. A fixed deposit larger than the total (a client may tick cheaper options) is the total.

    Raises `ValueError` with a plain sentence for nonsense: a negative quantity or price on a line, a rate or
    share out of range, the same key twice, options that take more off than there is, a group without its one
    choice. Raises `TypeError` for a float.
    """
    minor = minor_units(currency)
    _all_different(piece.key for piece in pieces)
    _all_different(option.key for option in chosen_options)
    check_choices(groups, [option.key for option in chosen_options])
    rate = _rate(tax)

    by_piece: dict[str, Decimal] = {}
    taxed: list[Decimal] = []
    for piece in pieces:
        amounts = piece.amounts(currency)
        by_piece[piece.key] = _add(amounts, minor)
        taxed += [amount for amount, line in zip(amounts, piece.lines, strict=True) if line.taxable]
    prices = [_option_price(option, currency) for option in chosen_options]
    taxed += [price for price, option in zip(prices, chosen_options, strict=True) if option.taxable]

    options = _add(prices, minor)
    subtotal = _add([*by_piece.values(), options], minor)
    if subtotal < 0:
        raise ValueError(
            "The cheaper options take off more than the work costs; the total would be below zero."
        )
    taxable = _add(taxed, minor)
    if taxable < 0:
        raise ValueError(
            "The cheaper options take off more than the taxed work costs; the tax would be below zero."
        )
    hurry = _sensible(rush_percent, "Rush, in percent,", MOST_RUSH)
    rush, rush_taxed = (half_up(_percent(hurry, base), minor) for base in (subtotal, taxable))
    taxed.append(rush_taxed)
    subtotal, taxable = _add([subtotal, rush], minor), _add([taxable, rush_taxed], minor)
    off = _discount(discount, subtotal, currency)
    if off:
        # An untaxed option below zero can leave more taxed work than there is in all.
        taxed_part = min(taxable, subtotal)
        off_taxed = split(off, [taxed_part, EXACT.subtract(subtotal, taxed_part)], currency)[0]
        if tax.basis == "item":
            taxed = _taken_off(taxed, off_taxed, currency)
        subtotal, taxable = EXACT.subtract(subtotal, off), EXACT.subtract(taxable, off_taxed)
    bases = taxed if tax.basis == "item" else [taxable]
    tax_due = _add([ssuta_324(_percent(rate, base), minor) for base in bases], minor)
    if off:  # the same rounding, after a discount that left next to nothing
        tax_due = max(tax_due, half_up(ZERO, minor))
    if tax_due < 0:  # on an item basis small items may round to no tax at all, and a reduction not
        raise ValueError(
            "The cheaper options take off more than the taxed work costs; the tax would be below zero."
        )
    total = _add([subtotal, tax_due], minor)
    if total > LARGEST:
        raise ValueError(f"A total of more than {LARGEST:,} is not believable; please check the prices.")
    first = _deposit(deposit, total, currency)
    return Totals(
        pieces=by_piece,
        options=options,
        subtotal=subtotal,
        taxable=taxable,
        tax=tax_due,
        total=total,
        deposit=first,
        balance=EXACT.subtract(total, first),
        rush=rush,
        discount=off,
    )


def check_offer(
    pieces: Sequence[PieceLines],
    options: Sequence[Option],
    tax: TaxRule,
    deposit: DepositRule,
    currency: str,
    *,
    groups: Sequence[OptionGroup] = (),
    rush_percent: Decimal = ZERO,
    discount: Discount | None = None,
) -> None:
    """Would every choice of options add up? Ask before a quote goes out, so that no client meets the answer.

    Raises what `totals` raises for the options ticked that bring subtotal and tax lowest, and highest; and
    `ValueError` when a fixed deposit is more than the quote comes to with nothing ticked (in groups: the
    cheapest), or a group has not got two options to choose from.
    """
    by_key = {option.key: option for option in options}
    for group in groups:
        if len(group.keys) < 2 or not set(group.keys) <= set(by_key):
            raise ValueError(f"“{group.name}” needs at least two options to choose one of.")
    grouped = {key for group in groups for key in group.keys}
    free = [option for option in options if option.key not in grouped]
    cheaper = [option for option in free if option.price < 0]
    of_groups = [[by_key[key] for key in group.keys] for group in groups]
    cheapest = [min(members, key=lambda option: option.price) for members in of_groups]
    dearest = [max(members, key=lambda option: option.price) for members in of_groups]
    least_taxed = [
        min(members, key=lambda option: option.price if option.taxable else ZERO) for members in of_groups
    ]

    def add_up(chosen: Sequence[Option]) -> Totals:
        return totals(
            pieces,
            chosen,
            tax,
            deposit,
            currency,
            groups=groups,
            rush_percent=rush_percent,
            discount=discount,
        )

    plain = add_up(cheapest)
    if deposit.sum is not None and deposit.sum > plain.total:
        raise ValueError("The deposit is more than the whole quote; please ask for less.")
    add_up([*free, *dearest])
    add_up([*cheaper, *cheapest])
    add_up([*(option for option in cheaper if option.taxable), *least_taxed])


def check_choices(groups: Sequence[OptionGroup], chosen_keys: Collection[str]) -> None:
    """Is exactly one option of each group chosen? Raises `ValueError` with a sentence for the client."""
    _all_different(key for group in groups for key in group.keys)
    for group in groups:
        taken = sum(key in chosen_keys for key in group.keys)
        if taken == 0:
            raise ValueError(f"Please choose one of “{group.name}”.")
        if taken > 1:
            raise ValueError(f"Please choose only one of “{group.name}”.")


def _sensible(value: Decimal, what: str, most: Decimal) -> Decimal:
    """A finite Decimal from zero to `most`, with no more than `FINEST` decimals."""
    demand_decimal(value, what)
    if value < 0:
        raise ValueError(f"{what} cannot be below zero.")
    if value > most:
        raise ValueError(f"{what} of more than {most:,} is not believable; please check it.")
    if half_up(value, FINEST) != value:
        raise ValueError(f"{what} has at most {FINEST} decimals.")
    return value


def money_checked(amount: Decimal, what: str, currency: str) -> Decimal:
    """A sum from zero to `LARGEST`, in whole units of the currency. Raises `ValueError` with a sentence."""
    return exact(_sensible(amount, what, LARGEST), currency)


def _discount(rule: Discount | None, subtotal: Decimal, currency: str) -> Decimal:
    """What comes off, from zero to the subtotal."""
    minor = minor_units(currency)
    if rule is None or (rule.percent is None and rule.sum is None):
        return half_up(ZERO, minor)
    if rule.percent is not None and rule.sum is not None:
        raise ValueError("A discount is a percentage or a sum, not both.")
    if rule.percent is not None:
        return half_up(_percent(_sensible(rule.percent, "A discount", Decimal(100)), subtotal), minor)
    return min(money_checked(rule.sum or ZERO, "A discount", currency), subtotal)


def _taken_off(items: list[Decimal], off: Decimal, currency: str) -> list[Decimal]:
    """The taxed items, each above zero less its share of the discount; so none goes below it."""
    if not off:
        return items
    shares = split(off, [max(item, ZERO) for item in items], currency)
    return [EXACT.subtract(item, share) for item, share in zip(items, shares, strict=True)]


def _option_price(option: Option, currency: str) -> Decimal:
    price = exact(demand_decimal(option.price, "An option's price"), currency)
    if abs(price) > LARGEST:
        raise ValueError(f"An option's price of more than {LARGEST:,} is not believable; please check it.")
    return price


def _rate(tax: TaxRule) -> Decimal:
    if tax.basis not in ("item", "invoice"):
        raise ValueError("Tax is taken on each item or on the invoice.")
    if _sensible(tax.rate, "A tax rate", Decimal(100)) == 100:
        raise ValueError("A tax rate is below 100 percent.")
    return tax.rate


def _deposit(rule: DepositRule, total: Decimal, currency: str) -> Decimal:
    minor = minor_units(currency)
    if rule.share is not None and rule.sum is not None:
        raise ValueError("A deposit is a share of the total or a fixed sum, not both.")
    if rule.share is not None:
        share = _sensible(rule.share, "A deposit's share", Decimal(100))
        return half_up(_percent(share, total), minor)
    if rule.sum is not None:
        return min(exact(_sensible(rule.sum, "A deposit", LARGEST), currency), total)
    return half_up(ZERO, minor)


def _percent(percent: Decimal, of: Decimal) -> Decimal:
    return EXACT.multiply(percent, of).scaleb(-2, EXACT)


def _add(amounts: Iterable[Decimal], minor: int) -> Decimal:
    """Their exact sum, with `minor` decimals even when there are none of them."""
    result = half_up(ZERO, minor)
    for amount in amounts:
        result = EXACT.add(result, amount)
    return result


def _all_different(keys: Iterable[str]) -> None:
    seen = list(keys)
    if len(seen) != len(set(seen)):
        raise ValueError("The same piece or option is in this quote twice.")
