from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.balance import due

A_FLOAT: Any = 0.1
money = st.decimals(0, 10**6, places=2)


def test_what_is_due() -> None:
    total, change, received, refunded = (
        Decimal("1004.66"),
        Decimal("85.00"),
        Decimal("502.33"),
        Decimal("20.00"),
    )
    assert due(total, change, received, refunded) == Decimal("607.33")
    assert due(total, Decimal("-104.66"), Decimal("1000.00"), Decimal(0)) == Decimal("-100.00")
    assert due(total, Decimal(0), total, Decimal(0)) == 0


@given(money, st.decimals(-(10**6), 10**6, places=2), money, money)
def test_a_payment_and_its_refund_change_nothing(
    total: Decimal, change: Decimal, paid: Decimal, more: Decimal
) -> None:
    assert due(total, change, paid + more, more) == due(total, change, paid, Decimal(0))
    assert due(total, change, paid, Decimal(0)) + paid == total + change


def test_nonsense() -> None:
    zero = Decimal(0)
    for negative in (
        (Decimal(-1), zero, zero, zero),
        (zero, zero, Decimal(-1), zero),
        (zero, zero, zero, Decimal(-1)),
    ):
        with pytest.raises(ValueError, match="below zero"):
            due(*negative)
    with pytest.raises(ValueError, match="must be a number"):
        due(zero, Decimal("NaN"), zero, zero)
    with pytest.raises(TypeError, match="Decimal"):
        due(zero, A_FLOAT, zero, zero)
