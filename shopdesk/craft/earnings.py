"""What a job earns: price without tax − materials − fees − outside work = margin; ÷ hours.

The same sum is done with a quote's estimates and with what came of it, so that both can stand side by side.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Literal

from shopdesk.craft.money import LARGEST, exact, minor_units, quantize
from shopdesk.craft.rounding import EXACT, demand_decimal, half_up
from shopdesk.craft.units import Figure, show_figure

ZERO = Decimal(0)
MOST_MINUTES = Decimal(10_000 * 60)
Hours = Literal["bench", "all"]
"""Which hours an hourly earning is taken over: at the bench, or all with quoting, driving and clean-up."""


@dataclass(frozen=True)
class Costs:
    """What a job costs the shop, estimated or as it came out: sums in the shop's currency, without reclaimed
    tax.

    `fee_percent` is what taking the money costs, of all the client pays, tax included; `fee_fixed` comes on
    top. `outside` is work done by others (upholstery, glass, driving by a carrier). `other_minutes`: quoting,
    driving, clean-up.
    """

    materials: Decimal = ZERO
    outside: Decimal = ZERO
    fee_percent: Decimal = ZERO
    fee_fixed: Decimal = ZERO
    bench_minutes: Decimal = ZERO
    other_minutes: Decimal = ZERO


@dataclass(frozen=True)
class Earning:
    """What is left of a price and for how long it was worked; `per_…` is None when there are no such hours.

    price − materials − fees − outside = margin, to the last unit. Hourly earnings are rounded half up.
    """

    price: Decimal
    materials: Decimal
    fees: Decimal
    outside: Decimal
    margin: Decimal
    bench_hours: Decimal
    all_hours: Decimal
    per_bench_hour: Decimal | None
    per_hour: Decimal | None
    because: str


@dataclass(frozen=True)
class Comparison:
    """One figure of a quote beside what came of it; `difference` = outcome − estimate."""

    what: str
    estimate: Decimal | None
    outcome: Decimal | None
    difference: Decimal | None


def earning(price: Decimal, costs: Costs, currency: str, tax: Decimal = ZERO) -> Earning:
    """What a job at `price` (without tax) earns. `tax` is what the client pays on top: only fees are taken on
    it.

    A margin below zero is a loss, and is said as it is. Raises `ValueError` with a sentence for a negative
    price, cost or time, or fees of 100 percent; `TypeError` for a float.
    """
    _checked(costs, currency)
    sums = [
        exact(_sum_of_money(value, what), currency) for value, what in ((price, "A price"), (tax, "A tax"))
    ]
    net, paid = sums[0], EXACT.add(*sums)
    fees = EXACT.add(
        quantize(EXACT.multiply(paid, costs.fee_percent).scaleb(-2, EXACT), currency), costs.fee_fixed
    )
    margin = net
    for cost in (costs.materials, fees, costs.outside):
        margin = EXACT.subtract(margin, cost)
    bench = EXACT.divide(costs.bench_minutes, Decimal(60))
    hours = EXACT.divide(EXACT.add(costs.bench_minutes, costs.other_minutes), Decimal(60))
    per_bench = quantize(EXACT.divide(margin, bench), currency) if bench else None
    per_hour = quantize(EXACT.divide(margin, hours), currency) if hours else None
    because = (
        f"{net} − {costs.materials} materials − {fees} fees − {costs.outside} outside work = {margin}"
        + (f"; ÷ {show_figure(bench)} h at the bench = {per_bench}" if bench else "")
        + (f"; ÷ {show_figure(hours)} h in all = {per_hour}" if hours else "")
    )
    return Earning(
        net, costs.materials, fees, costs.outside, margin, bench, hours, per_bench, per_hour, because
    )


def price_for(
    wanted_per_hour: Decimal,
    costs: Costs,
    currency: str,
    tax_percent: Decimal = ZERO,
    over: Hours = "all",
) -> Figure:
    """The lowest price without tax at which an hour earns at least `wanted_per_hour`.

    (materials + outside + fixed fees + wanted × hours) ÷ (1 − fee share × (1 + tax)), rounded up to the
    currency's last unit, so that the margin never falls short. `tax_percent` is what the client pays on top
    of the whole price.

    Raises `ValueError` with a sentence when there are no hours to earn in, or fees eat nearly all of any
    price.
    """
    _checked(costs, currency)
    wanted = _sum_of_money(wanted_per_hour, "A wanted hourly earning")
    if not 0 <= demand_decimal(tax_percent, "A tax rate") < 100:
        raise ValueError("A tax rate is from 0 to under 100 percent.")
    hours = _hours(costs, over)
    if not hours:
        raise ValueError("There are no hours in this quote yet; an hourly earning needs some.")
    earned = EXACT.multiply(wanted, hours)
    fixed = _sum((costs.materials, costs.outside, costs.fee_fixed))
    with_tax = EXACT.add(Decimal(1), tax_percent.scaleb(-2, EXACT))
    keeps = EXACT.subtract(Decimal(1), EXACT.multiply(costs.fee_percent.scaleb(-2, EXACT), with_tax))
    if keeps < Decimal("0.05"):
        raise ValueError("The fees take nearly all of any price; please check their percentage.")
    unit = Decimal(1).scaleb(-minor_units(currency))
    price = EXACT.divide(EXACT.add(fixed, earned), keeps).quantize(unit, ROUND_CEILING, EXACT)
    # Fee and tax are each rounded, which moves the margin by up to a unit: below two units' worth of price no
    # margin can be enough, so the first price from there that has it is the lowest.
    below = EXACT.divide(Decimal(2), keeps).to_integral_value(ROUND_CEILING, EXACT)
    price = max(half_up(ZERO, minor_units(currency)), EXACT.subtract(price, EXACT.multiply(unit, below)))
    while True:
        tax = quantize(EXACT.multiply(price, tax_percent).scaleb(-2, EXACT), currency)
        if earning(price, costs, currency, tax).margin >= earned:
            break
        price = EXACT.add(price, unit)
    because = f"{fixed} costs + {show_figure(hours)} h × {wanted}"
    if costs.fee_percent:
        because = f"({because}) ÷ {show_figure(keeps)} left after fees"
    return Figure(price, f"{because} = {price}")


def side_by_side(estimate: Earning, outcome: Earning) -> tuple[Comparison, ...]:
    """A quote's estimates beside what came of them, figure by figure."""
    rows: tuple[tuple[str, Decimal | None, Decimal | None], ...] = (
        ("Price without tax", estimate.price, outcome.price),
        ("Materials", estimate.materials, outcome.materials),
        ("Fees", estimate.fees, outcome.fees),
        ("Outside work", estimate.outside, outcome.outside),
        ("Margin", estimate.margin, outcome.margin),
        ("Hours at the bench", estimate.bench_hours, outcome.bench_hours),
        ("All hours", estimate.all_hours, outcome.all_hours),
        ("For an hour at the bench", estimate.per_bench_hour, outcome.per_bench_hour),
        ("For every hour", estimate.per_hour, outcome.per_hour),
    )
    return tuple(
        Comparison(
            what, before, after, None if before is None or after is None else EXACT.subtract(after, before)
        )
        for what, before, after in rows
    )


def _hours(costs: Costs, over: Hours) -> Decimal:
    minutes = costs.bench_minutes
    if over == "all":
        minutes = EXACT.add(minutes, costs.other_minutes)
    return EXACT.divide(minutes, Decimal(60))


def _checked(costs: Costs, currency: str) -> None:
    for value, what in (
        (costs.materials, "Materials"),
        (costs.outside, "Outside work"),
        (costs.fee_fixed, "A fee"),
    ):
        exact(_sum_of_money(value, what), currency)
    if not 0 <= demand_decimal(costs.fee_percent, "A fee") < 100:
        raise ValueError("A fee is from 0 to under 100 percent.")
    for minutes in (costs.bench_minutes, costs.other_minutes):
        if not 0 <= demand_decimal(minutes, "A time") <= MOST_MINUTES:
            raise ValueError("A time is from 0 to 10,000 hours; please check it.")


def _sum_of_money(value: Decimal, what: str) -> Decimal:
    if demand_decimal(value, what) < 0:
        raise ValueError(f"{what} cannot be below zero.")
    if value > LARGEST:
        raise ValueError(f"{what} of more than {LARGEST:,} cannot be right; please check the amount.")
    return value


def _sum(values: Iterable[Decimal]) -> Decimal:
    total = ZERO
    for value in values:
        total = EXACT.add(total, value)
    return total
