"""Figures as people type them, in the shop's own writing: amounts and plain numbers."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Any

from babel.numbers import get_decimal_symbol
from django import forms
from django.core.exceptions import ValidationError

from shopdesk.craft.money import minor_units, parse_amount
from shopdesk.look.formats import known_locale
from shopdesk.shop.models import Shop


class MoneyField(forms.CharField):
    """An amount as people write it (`1,250.50`, `$340`, `1 250,50`), cleaned to an exact `Decimal` with the
    currency's decimals."""

    def __init__(self, shop: Shop, *, currency: str = "", negative: bool = False, **kwargs: Any) -> None:
        self.currency = currency or shop.currency
        self.negative = negative
        symbol = get_decimal_symbol(known_locale(shop.locale))
        self.mark = symbol if symbol in (".", ",") else None
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
        return f"{value:.{minor_units(self.currency)}f}".replace(".", self.mark or ".")


class NumberField(forms.CharField):
    """A plain number as people write it (`2.5`, `2,5`, `50 %`), cleaned to a `Decimal` of at most `decimals`
    decimals."""

    def __init__(self, shop: Shop, *, decimals: int, most: int, **kwargs: Any) -> None:
        self.decimals, self.most = decimals, most
        self.mark = get_decimal_symbol(known_locale(shop.locale))
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=20, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        typed = str(super().clean(value) or "").replace(" ", "").replace("\u00a0", "").removesuffix("%")
        if not typed:
            return None
        if self.mark == "." and re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", typed):
            typed = typed.replace(",", "")
        try:
            number = Decimal(typed.replace(",", ".")) if re.fullmatch(r"-?[\d.,]+", typed, re.ASCII) else None
        except InvalidOperation:
            number = None
        if number is None:
            raise ValidationError("Write a number, such as 2 or 2.5.")
        if number < 0:
            raise ValidationError("Write a number without a minus sign.")
        if number > self.most:
            raise ValidationError(f"That is more than {self.most:,}; please check it.")
        if -int(number.normalize().as_tuple().exponent) > self.decimals:
            raise ValidationError(f"At most {self.decimals} decimals.")
        return number

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal):
            return value
        return f"{value.normalize():f}".replace(".", self.mark if self.mark in ".," else ".")
