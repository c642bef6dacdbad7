"""Figures of a data sheet, in the units that data sheets use."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from shopdesk.craft.rounding import EXACT
from shopdesk.craft.units import L_PER_GALLON, M2_PER_SQUARE_FOOT, UM_PER_MIL
from shopdesk.shop.fields import NumberField
from shopdesk.shop.models import Shop

FINEST = Decimal("0.01")
FILM = {"µm": Decimal(1), "um": Decimal(1), "mils": UM_PER_MIL, "mil": UM_PER_MIL}
"""What a dry film may be written in → micrometres."""
_US = EXACT.divide(M2_PER_SQUARE_FOOT, L_PER_GALLON)
SPREAD = {"m2/l": Decimal(1), "sq ft/gal": _US, "sqft/gal": _US, "ft2/gal": _US}
"""What a spreading rate may be written in → m² a litre."""


class MeasureField(NumberField):
    """A number with or without its unit ("30", "1.2 mil"), cleaned to the first of `units`, to a
    hundredth."""

    def __init__(self, shop: Shop, *, units: Mapping[str, Decimal], **kwargs: Any) -> None:
        self.units = units
        super().__init__(shop, decimals=10, most=100_000_000, **kwargs)

    def clean(self, value: Any) -> Any:
        typed = str(value or "").replace("²", "2").strip().casefold()
        # Case folding makes a Greek mu of the micro sign.
        typed = typed.replace("μ", "µ")
        for unit, size in self.units.items():
            if typed.endswith(unit):
                number: Decimal | None = super().clean(typed.removesuffix(unit).strip())
                if number is None or size == 1:
                    return number
                return EXACT.multiply(number, size).quantize(FINEST, ROUND_HALF_UP, EXACT)
        return super().clean(value)
