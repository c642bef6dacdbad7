"""The two ways of rounding money, each under its rule's name. `minor` is the currency's count of decimals."""

from decimal import ROUND_DOWN, ROUND_HALF_UP, Context, Decimal
from functools import lru_cache

EXACT = Context(prec=80)
"""Enough digits for every sum and product in `craft`, whatever context the caller's thread has."""


def demand_decimal(value: object, what: str) -> Decimal:
    """`value` if it is a finite `Decimal`.

    Raises `TypeError` for anything else (a float above all: 0.1 is not a tenth), `ValueError` for NaN and
    Infinity.
    """
    if not isinstance(value, Decimal):
        raise TypeError(f"{what} must be a Decimal, not {type(value).__name__}.")
    if not value.is_finite():
        raise ValueError(f"{what} must be a number.")
    return value


def half_up(amount: Decimal, minor: int) -> Decimal:
    """To `minor` decimals, halves away from zero: the rule for a line's amount and a deposit by share."""
    return demand_decimal(amount, "An amount").quantize(_one_of(minor), ROUND_HALF_UP, EXACT)


@lru_cache(maxsize=32)
def _one_of(minor: int) -> Decimal:
    return Decimal(1).scaleb(-minor)


def ssuta_324(amount: Decimal, minor: int = 2) -> Decimal:
    """A computed tax, rounded by the Streamlined Sales and Use Tax Agreement, section 324.

    The computation is carried to the third decimal place (what lies behind it is cut off, not rounded), then
    goes up to the next cent when the third decimal is greater than four. For a currency with other decimals
    than two, the deciding digit is the one behind its last: `minor` + 1. A negative tax (on a cheaper option)
    mirrors a positive one.
    """
    size = demand_decimal(amount, "A tax").copy_abs()
    carried = size.quantize(Decimal(1).scaleb(-minor - 1), ROUND_DOWN, EXACT)
    whole = carried.quantize(Decimal(1).scaleb(-minor), ROUND_DOWN, EXACT)
    deciding_digit = int(EXACT.subtract(carried, whole).scaleb(minor + 1, EXACT))
    if deciding_digit > 4:
        whole = EXACT.add(whole, Decimal(1).scaleb(-minor))
    return whole if amount >= 0 or not whole else EXACT.minus(whole)
