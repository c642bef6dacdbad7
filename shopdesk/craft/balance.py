"""What a client still owes."""

from decimal import Decimal

from shopdesk.craft.rounding import EXACT, demand_decimal


def due(accepted_total: Decimal, agreed_changes: Decimal, received: Decimal, refunded: Decimal) -> Decimal:
    """What is due = accepted total + agreed changes − received + refunded, all in the shop's currency.

    The deposit is part of the accepted total and never added to it. `agreed_changes` is their sum and may be
    below zero (less work than quoted). `received` and `refunded` are what came in and went back, both zero or
    more; a result below zero is what the shop owes the client.
    Raises `ValueError` for a negative total, receipt or refund, `TypeError` for a float.
    """
    for value, what in (
        (accepted_total, "An accepted total"),
        (received, "What was received"),
        (refunded, "What was paid back"),
    ):
        if demand_decimal(value, what) < 0:
            raise ValueError(f"{what} cannot be below zero.")
    price = EXACT.add(accepted_total, demand_decimal(agreed_changes, "A change"))
    return EXACT.add(EXACT.subtract(price, received), refunded)
