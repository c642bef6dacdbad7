from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopdesk.craft.asking import (
    Allowance,
    Tier,
    allowance_change,
    allowance_line,
    price_of_quantity,
    three_prices,
    with_minimum,
    with_rush,
)
from shopdesk.craft.earnings import Costs, earning, price_for, side_by_side
from shopdesk.craft.pricing import DepositRule, Line, PieceLines, TaxRule, totals

D = Decimal
A_FLOAT: Any = 0.5
JOB = Costs(
    materials=D("86.40"),
    outside=D("120.00"),
    fee_percent=D("2.9"),
    fee_fixed=D("0.30"),
    bench_minutes=D(600),
    other_minutes=D(150),
)


def test_an_earning_worked_by_hand() -> None:
    # fees 2.9 % of 900 + 65.25 = 27.99225 → 27.99, and 0.30; margin 900 − 86.40 − 28.29 − 120 = 665.31
    found = earning(D("900.00"), JOB, "USD", D("65.25"))
    assert (found.fees, found.margin) == (D("28.29"), D("665.31"))
    assert (found.bench_hours, found.all_hours) == (D(10), D("12.5"))
    assert (found.per_bench_hour, found.per_hour) == (D("66.53"), D("53.22"))  # 66.531, 53.2248
    assert found.because == (
        "900.00 − 86.40 materials − 28.29 fees − 120.00 outside work = 665.31; "
        "÷ 10 h at the bench = 66.53; ÷ 12.5 h in all = 53.22"
    )


def test_a_loss_is_a_loss_and_no_hours_are_no_hourly_earning() -> None:
    found = earning(D(100), JOB, "USD")
    assert found.margin == D("-109.60")
    assert found.per_hour == D("-8.77")
    idle = earning(D(100), replace(JOB, bench_minutes=D(0), other_minutes=D(0)), "USD")
    assert (idle.per_bench_hour, idle.per_hour) == (None, None)


def test_the_price_for_an_hour_worked_by_hand() -> None:
    # (86.40 + 120 + 12.5 × 50) ÷ 1 with no fees
    free = replace(JOB, fee_percent=D(0), fee_fixed=D(0))
    found = price_for(D(50), free, "USD")
    assert (found.value, found.because) == (D("831.40"), "206.40 costs + 12.5 h × 50 = 831.40")
    assert price_for(D(50), free, "USD", over="bench").value == D("706.40")
    # 831.70 ÷ (1 − 0.029 × 1.0725) = 858.406…: rounded up
    assert price_for(D(50), JOB, "USD", D("7.25")).value == D("858.40")
    assert earning(D("858.40"), JOB, "USD", D("62.23")).margin == D("625.00")
    assert price_for(D(5000), replace(free, materials=D(9000), outside=D(0)), "JPY").value == D(71500)


@pytest.mark.parametrize(
    ("costs", "sentence"),
    [
        (replace(JOB, materials=D(-1)), "Materials cannot be below zero"),
        (replace(JOB, outside=D("0.001")), "has more"),
        (replace(JOB, materials=D(10) ** 12), "cannot be right"),
        (replace(JOB, fee_percent=D(100)), "under 100 percent"),
        (replace(JOB, fee_percent=D(96)), "nearly all of any price"),
        (replace(JOB, bench_minutes=D(-1)), "A time is from 0"),
        (replace(JOB, bench_minutes=D(0), other_minutes=D(0)), "no hours in this quote"),
        (replace(JOB, other_minutes=D("NaN")), "must be a number"),
    ],
)
def test_costs_that_cannot_be(costs: Costs, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        price_for(D(50), costs, "USD")


def test_other_nonsense() -> None:
    with pytest.raises(ValueError, match="A price cannot be below zero"):
        earning(D(-1), JOB, "USD")
    with pytest.raises(ValueError, match="hourly earning cannot be below zero"):
        price_for(D(-1), JOB, "USD")
    with pytest.raises(ValueError, match="tax rate"):
        price_for(D(50), JOB, "USD", D(100))
    with pytest.raises(TypeError, match="Decimal"):
        earning(D(1), replace(JOB, materials=A_FLOAT), "USD")


def test_estimate_and_outcome_side_by_side() -> None:
    estimate = earning(D(900), JOB, "USD")
    outcome = earning(D(960), replace(JOB, materials=D("101.10"), bench_minutes=D(720)), "USD")
    rows = {row.what: row for row in side_by_side(estimate, outcome)}
    assert rows["Materials"].difference == D("14.70")
    assert rows["Hours at the bench"].difference == 2
    assert rows["Margin"].difference == outcome.margin - estimate.margin
    idle = earning(D(900), Costs(), "USD")
    assert {row.what: row.difference for row in side_by_side(idle, outcome)}["For every hour"] is None


cents = st.integers(0, 200_000).map(lambda units: D(units).scaleb(-2))
minutes = st.integers(0, 6000).map(D)
some_costs = st.builds(
    Costs, cents, cents, st.decimals(0, 20, places=2), cents, st.integers(15, 6000).map(D), minutes
)


@settings(deadline=None)
@given(some_costs, st.decimals(0, 300, places=2), st.sampled_from(["0", "7.25", "20"]))
def test_the_price_is_the_lowest_that_reaches_what_is_wanted(
    costs: Costs, wanted: Decimal, rate: str
) -> None:
    found = price_for(wanted, costs, "USD", D(rate)).value

    def margin(price: Decimal) -> Decimal:
        return earning(price, costs, "USD", round(price * D(rate) / 100 + D("1E-9"), 2)).margin

    hours = (costs.bench_minutes + costs.other_minutes) / 60
    assert margin(found) >= round(wanted * hours, 20) - D("1E-15")
    if found > 0:
        assert margin(found - D("0.01")) < wanted * hours
    again = earning(found, costs, "USD")
    assert again.price - again.materials - again.fees - again.outside == again.margin


def test_minimum_and_rush() -> None:
    assert with_minimum(D(80), D(120), "USD").value == 120
    assert with_minimum(D(80), D(120), "USD").because == "the minimum charge of 120.00, for 80.00 is below it"
    assert with_minimum(D(120), D(120), "USD").value == 120
    assert with_minimum(D(150), D(0), "USD").because == "150.00"
    rush = with_rush(D("333.33"), D("12.5"), "USD")  # 41.66625
    assert (rush.value, rush.because) == (D("375.00"), "333.33 + 12.5 % rush, 41.67 = 375.00")
    for percent in (D(-1), D(201), D("NaN")):
        with pytest.raises(ValueError, match=r"Rush|must be a number"):
            with_rush(D(100), percent, "USD")
    with pytest.raises(ValueError, match="below zero"):
        with_minimum(D(1), D(-1), "USD")


CHAIRS = [Tier(1, D(120)), Tier(4, D("105.50")), Tier(8, D(95))]


def test_prices_by_quantity() -> None:
    totals_of = [price_of_quantity(CHAIRS, quantity, "USD").value for quantity in (1, 3, 4, 7, 8, 20)]
    assert totals_of == [D(120), D(360), D(422), D("738.50"), D(760), D(1900)]
    assert price_of_quantity(CHAIRS[::-1], 4, "USD").because == "4 × 105.50, the price from 4 on = 422.00"
    for tiers, quantity, sentence in (
        ([], 1, "price of one piece"),
        (CHAIRS[1:], 5, "price of one piece"),
        ([*CHAIRS, Tier(4, D(100))], 5, "two prices from 4"),
        ([*CHAIRS, Tier(12, D(99))], 5, "costs no more"),
        ([Tier(1, D("0.001"))], 5, "has more"),
        (CHAIRS, 0, "one or more"),
    ):
        with pytest.raises(ValueError, match=sentence):
            price_of_quantity(tiers, quantity, "USD")


def test_an_allowance_is_part_of_the_price_until_it_is_spent() -> None:
    handles = Allowance("handles", D(80), taxable=True)
    pieces = [PieceLines("chest", (Line(D(1), D(400), True), allowance_line(handles, "USD")))]
    found = totals(pieces, [], TaxRule(D(10), "invoice"), DepositRule(), "USD")
    assert (found.subtotal, found.tax) == (D(480), D(48))
    change = allowance_change(handles, D("92.50"), "USD")
    assert (change.value, change.because) == (D("12.50"), "handles: 92.50 − 80.00 allowed = 12.50")
    assert allowance_change(handles, D(0), "USD").value == -80


def test_three_prices_side_by_side() -> None:
    floor, wanted, rush = three_prices(JOB, D(30), D(50), D(20), D(150), "USD", D("7.25"))
    assert (wanted.price, rush.price) == (D("858.40"), D("1030.08"))
    assert floor.price < wanted.price < rush.price
    assert [round(choice.earns.per_hour or 0) for choice in (floor, wanted)] == [30, 50]
    least, _, _ = three_prices(replace(JOB, materials=D(0), outside=D(0)), D(1), D(50), D(0), D(150), "USD")
    assert least.price == 150
    with pytest.raises(ValueError, match="above the wanted"):
        three_prices(JOB, D(60), D(50), D(20), D(0), "USD")
