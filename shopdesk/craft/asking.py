"""What to ask for a job: minimum charge, rush, price by quantity, allowances, and three prices side by side.

Everything is without tax; what is asked then stands in a quote, which `pricing.totals` adds up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from shopdesk.craft.earnings import Costs, Earning, earning, price_for
from shopdesk.craft.money import quantize
from shopdesk.craft.pricing import MOST_OF_A_LINE, MOST_RUSH, ZERO, Line, money_checked
from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import Figure, show_figure


@dataclass(frozen=True)
class Allowance:
    """A sum set aside for something not chosen yet (handles): part of the price until its real cost is
    known."""

    what: str
    amount: Decimal
    taxable: bool


@dataclass(frozen=True)
class Tier:
    """From so many pieces on, each costs `unit_price`."""

    from_quantity: int
    unit_price: Decimal


@dataclass(frozen=True)
class PriceChoice:
    """One of three prices side by side: without tax, what it earns, and what it means."""

    price: Decimal
    earns: Earning
    means: str


def with_minimum(price: Decimal, minimum: Decimal, currency: str) -> Figure:
    """`price`, or the shop's minimum charge where that is more."""
    asked = money_checked(price, "A price", currency)
    least = money_checked(minimum, "A minimum charge", currency)
    if asked < least:
        return Figure(least, f"the minimum charge of {least}, for {asked} is below it")
    return Figure(asked, f"{asked}, not below the minimum charge of {least}" if least else f"{asked}")


def with_rush(price: Decimal, percent: Decimal, currency: str) -> Figure:
    """`price` and so many percent for being done sooner, half up to the currency's last unit."""
    asked = money_checked(price, "A price", currency)
    if not 0 <= demand_decimal(percent, "Rush") <= MOST_RUSH:
        raise ValueError(f"Rush is from 0 to {MOST_RUSH} percent; please check it.")
    more = quantize(EXACT.multiply(asked, percent).scaleb(-2, EXACT), currency)
    dear = EXACT.add(asked, more)
    return Figure(dear, f"{asked} + {show_figure(percent)} % rush, {more} = {dear}")


def price_of_quantity(tiers: Sequence[Tier], quantity: int, currency: str) -> Figure:
    """So many pieces at the unit price of the highest tier that the quantity reaches, for all of them.

    Raises `ValueError` for no tiers, a first one that does not start at 1, the same start twice, a unit price
    that rises with the quantity, or a quantity below 1.
    """
    ordered = sorted(tiers, key=lambda tier: tier.from_quantity)
    if not ordered or ordered[0].from_quantity != 1:
        raise ValueError("Prices by quantity start with the price of one piece.")
    if not 1 <= quantity <= MOST_OF_A_LINE:
        raise ValueError("A quantity is one or more; please check it.")
    prices = [money_checked(tier.unit_price, "A unit price", currency) for tier in ordered]
    for lower, higher in pairwise(ordered):
        if lower.from_quantity == higher.from_quantity:
            raise ValueError(f"There are two prices from {lower.from_quantity} pieces on; please keep one.")
        if higher.unit_price > lower.unit_price:
            raise ValueError("A larger quantity costs no more for each piece; please check the prices.")
    reached = sum(tier.from_quantity <= quantity for tier in ordered) - 1
    total = EXACT.multiply(Decimal(quantity), prices[reached])
    start = ordered[reached].from_quantity
    since = f", the price from {start} on" if start > 1 else ""
    return Figure(total, f"{quantity} × {prices[reached]}{since} = {total}")


def allowance_line(allowance: Allowance, currency: str) -> Line:
    """An allowance as a line of its piece, so that it is added up and taxed like the others."""
    return Line(Decimal(1), money_checked(allowance.amount, "An allowance", currency), allowance.taxable)


def allowance_change(allowance: Allowance, cost: Decimal, currency: str) -> Figure:
    """What the price changes by once the real cost is known; below zero gives money back."""
    meant = money_checked(allowance.amount, "An allowance", currency)
    real = money_checked(cost, "A cost", currency)
    change = EXACT.subtract(real, meant)
    return Figure(change, f"{allowance.what}: {real} − {meant} allowed = {change}")


def three_prices(
    costs: Costs,
    floor_per_hour: Decimal,
    wanted_per_hour: Decimal,
    rush_percent: Decimal,
    minimum: Decimal,
    currency: str,
    tax_percent: Decimal = ZERO,
) -> tuple[PriceChoice, PriceChoice, PriceChoice]:
    """Floor, wanted and with rush, side by side, none below the minimum charge.

    The first two are `earnings.price_for` over all hours; rush comes on top of the wanted one. `tax_percent`
    is what the client pays on the whole price, for the fees taken on it. Raises `ValueError` for a floor
    above what is wanted, and what `price_for` raises.
    """
    if demand_decimal(floor_per_hour, "The floor") > demand_decimal(wanted_per_hour, "What is wanted"):
        raise ValueError("The lowest hourly earning is above the wanted one; please check both.")

    def choice(price: Decimal, means: str) -> PriceChoice:
        tax = quantize(EXACT.multiply(tax_percent, price).scaleb(-2, EXACT), currency)
        return PriceChoice(price, earning(price, costs, currency, tax), means)

    floor, wanted = (
        with_minimum(price_for(hourly, costs, currency, tax_percent).value, minimum, currency).value
        for hourly in (floor_per_hour, wanted_per_hour)
    )
    return (
        choice(floor, "Floor: below it, the work does not pay."),
        choice(wanted, "Wanted: what an hour should earn."),
        choice(with_rush(wanted, rush_percent, currency).value, "With rush: done sooner than its turn."),
    )
