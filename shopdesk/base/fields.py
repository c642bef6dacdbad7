"""Money in the database: exact on every database, SQLite included, where a DECIMAL column is a binary
float."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import models

_UNIT = Decimal("0.0001")

if TYPE_CHECKING:
    _Base = models.BigIntegerField[Decimal | int | str, Decimal]
else:
    _Base = models.BigIntegerField


class AmountField(_Base):
    """A `Decimal` with four places, kept as a whole number of ten-thousandths, so that SQL sums are exact
    as well.

    Holds up to ± 922 million million. More than four decimals, NaN and infinity raise `ValidationError`.
    """

    description = "An exact amount"

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or value == "":
            return None
        if isinstance(value, float):
            raise ValidationError("Money does not go through a float.")
        try:
            amount = Decimal(value)
        except (ArithmeticError, ValueError, TypeError) as error:
            raise ValidationError(f"{value!r} is not an amount.") from error
        if not amount.is_finite() or amount != amount.quantize(_UNIT):
            raise ValidationError(f"{value!r} is not an amount with at most four decimals.")
        return amount

    def from_db_value(self, value: int | None, expression: Any, connection: Any) -> Decimal | None:
        return None if value is None else Decimal(value) * _UNIT

    def get_prep_value(self, value: Any) -> int | None:
        amount = self.to_python(value)
        return None if amount is None else int(amount.scaleb(4))

    def value_to_string(self, obj: models.Model) -> str:
        return str(self.value_from_object(obj))

    def formfield(self, **kwargs: Any) -> Any:  # money fields of forms are written out, never guessed
        raise TypeError("Write a form field for an amount by hand: it needs the shop's currency.")
