"""Figures as people type them, in the shop's own writing: amounts and plain numbers."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from babel.numbers import get_decimal_symbol
from django import forms
from django.core.exceptions import ValidationError

from shopdesk.craft.money import minor_units, parse_amount, plain_digits
from shopdesk.look.formats import known_locale
from shopdesk.shop.models import Shop

_SPACES = re.compile(r"[\s\u00a0\u2007\u2009\u202f]+")


def decimal_mark(shop: Shop) -> str:
    """A point or a comma: the mark that the shop's locale puts before decimals (where it has another, a
    point), in which fields show their figures."""
    symbol = get_decimal_symbol(known_locale(shop.locale))
    return symbol if symbol in (".", ",") else "."


class MoneyField(forms.CharField):
    """An amount as people write it (`1,250.50`, `$340`, `1 250,50`), cleaned to an exact `Decimal` with the
    currency's decimals."""

    def __init__(self, shop: Shop, *, currency: str = "", negative: bool = False, **kwargs: Any) -> None:
        self.currency = currency or shop.currency
        self.negative = negative
        self.mark = decimal_mark(shop)
        kwargs.setdefault("max_length", 60)
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(widget=kwargs.pop("widget", widget), **kwargs)

    def clean(self, value: Any) -> Any:
        typed = str(super().clean(value) or "")
        if not typed:
            return None
        try:
            return parse_amount(typed, self.currency, self.mark, allow_negative=self.negative)
        except ValueError as error:
            raise ValidationError(str(error)) from error

    def prepare_value(self, value: Any) -> Any:
        """A `Decimal` is shown as it would be typed here: no signs, the shop's own decimal mark."""
        if not isinstance(value, Decimal):
            return value
        return f"{value:.{minor_units(self.currency)}f}".replace(".", self.mark)


class NumberField(forms.CharField):
    """A plain number as people write it (`2.5`, `2,5`, `1 200`, `50 %`), cleaned to a `Decimal` of at most
    `decimals` decimals. Points and commas are read as in an amount: `1.000` is a thousand where the shop
    writes 2,5, and one where it writes 2.5."""

    def __init__(self, shop: Shop, *, decimals: int, most: int, **kwargs: Any) -> None:
        self.decimals, self.most = decimals, most
        self.mark = decimal_mark(shop)
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=20, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        typed = str(super().clean(value) or "").removesuffix("%")
        typed = _SPACES.sub(" ", typed).replace("’", "'").replace("−", "-").strip()
        if not typed:
            return None
        nonsense = ValueError("Write a number, such as 2 or 2.5.")
        if not re.fullmatch(r"-? ?[0-9.,' ]+", typed, re.ASCII):
            raise ValidationError(str(nonsense))
        if typed.startswith("-"):
            raise ValidationError("Write a number without a minus sign.")
        try:
            number = Decimal(plain_digits(typed, 3, self.mark, nonsense))
        except ValueError as error:
            raise ValidationError(str(error)) from error
        if number > self.most:
            raise ValidationError(f"That is more than {self.most:,}; please check it.")
        if -int(number.normalize().as_tuple().exponent) > self.decimals:
            raise ValidationError(f"At most {self.decimals} decimals.")
        return number

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal):
            return value
        return f"{value.normalize():f}".replace(".", self.mark)
