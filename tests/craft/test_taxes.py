"""Tax on what is agreed later, and inside what is paid."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.pricing import TaxRule
from shopdesk.craft.rounding import ssuta_324
from shopdesk.craft.taxes import tax_inside, tax_of_change

WHOLE = TaxRule(Decimal("6.25"), "invoice")
cents = st.integers(1, 10_000_000).map(lambda units: Decimal(units).scaleb(-2))
rates = st.integers(0, 9999).map(lambda units: Decimal(units).scaleb(-2))


def test_by_hand() -> None:
    """119.00 at 19 % holds 19.00; 100.00 at 21 % holds 17.3553…; half of it taxed holds half as much."""
    assert (
        tax_inside(Decimal(119), of=Decimal(119), taxed=Decimal(119), rate=Decimal(19), currency="EUR") == 19
    )
    part = {"of": Decimal(200), "rate": Decimal(21), "currency": "EUR"}
    assert tax_inside(Decimal(100), taxed=Decimal(200), **part) == Decimal("17.36")  # type: ignore[arg-type]
    assert tax_inside(Decimal(100), taxed=Decimal(100), **part) == Decimal("8.68")  # type: ignore[arg-type]
    yen = tax_inside(Decimal(1100), of=Decimal(1100), taxed=Decimal(1100), rate=Decimal(10), currency="JPY")
    assert str(yen) == "100"


@given(cents, cents, rates)
def test_net_and_tax_are_the_payment(gross: Decimal, of: Decimal, rate: Decimal) -> None:
    gross = min(gross, of)
    tax = tax_inside(gross, of=of, taxed=of, rate=rate, currency="EUR")
    assert 0 <= tax <= gross
    net = gross - tax
    assert abs(net * rate / 100 - tax) <= Decimal("0.01"), "the rate on the net is the tax, to the cent"
    assert tax_inside(-gross, of=of, taxed=of, rate=rate, currency="EUR") == -tax


@pytest.mark.parametrize(
    ("of", "taxed", "rate"),
    [("0", "0", "19"), ("100", "101", "19"), ("100", "-1", "19"), ("100", "100", "100")],
)
def test_what_cannot_be_is_refused(of: str, taxed: str, rate: str) -> None:
    with pytest.raises(ValueError, match="tax"):
        tax_inside(Decimal(1), of=Decimal(of), taxed=Decimal(taxed), rate=Decimal(rate), currency="EUR")


@given(st.lists(st.integers(-50_000, 50_000).map(lambda units: Decimal(units).scaleb(-2)), max_size=6))
def test_on_the_whole_changes_carry_the_tax_of_the_whole(changes: list[Decimal]) -> None:
    taxed = Decimal("10000.00")
    tax = ssuta_324(taxed * WHOLE.rate / 100)
    for net in changes:
        tax += tax_of_change(net, WHOLE, taxed_before=taxed, tax_before=tax, currency="USD")
        taxed += net
        assert tax == ssuta_324(taxed * WHOLE.rate / 100)


def test_by_item_a_change_is_taxed_alone() -> None:
    rule = TaxRule(Decimal("6.25"), "item")
    before = {"taxed_before": Decimal(100), "tax_before": Decimal("6.25"), "currency": "USD"}
    assert tax_of_change(Decimal("0.07"), rule, **before) == 0  # type: ignore[arg-type]
    assert tax_of_change(Decimal("-100"), rule, **before) == Decimal("-6.25")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="takes off more"):
        tax_of_change(Decimal("-100.01"), rule, **before)  # type: ignore[arg-type]
