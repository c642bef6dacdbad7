"""Money as people type it, and what the desk writes down about it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from babel.numbers import get_decimal_symbol
from django import forms
from django.core.exceptions import ValidationError

from shopdesk.commissions.letterhead import today_at
from shopdesk.craft.money import minor_units, parse_amount
from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import Standing
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


def day_input() -> forms.DateInput:
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class PaymentForm(forms.Form):
    on = forms.DateField(label="On which day", widget=day_input())
    how = forms.ChoiceField(label="How it came", choices=Entry.How.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="Note",
        max_length=300,
        required=False,
        help_text="For yourself: a cheque's number, who brought it.",
    )

    def __init__(self, *args: Any, shop: Shop, standing: Standing, **kwargs: Any) -> None:
        kwargs["initial"] = {
            "amount": standing.deposit_open or standing.due,
            "on": today_at(shop),
            "how": Entry.How.TRANSFER,
            **kwargs.get("initial", {}),
        }
        super().__init__(*args, **kwargs)
        amount = MoneyField(shop, currency=standing.currency, label=f"Amount in {standing.currency}")
        self.fields = {"amount": amount, **self.fields}

    @property
    def day(self) -> date:
        return date.fromisoformat(str(self.cleaned_data["on"]))


class RefundForm(PaymentForm):
    owed_again = forms.BooleanField(
        label="They still owe it",
        required=False,
        help_text="Tick this when they will pay it another way. Left alone, the price is less by it.",
    )

    def __init__(self, *args: Any, shop: Shop, standing: Standing, **kwargs: Any) -> None:
        super().__init__(*args, shop=shop, standing=standing, initial={"amount": None}, **kwargs)
        self.fields["how"].label = "How it went back"
        self.fields["note"].required = True
        self.fields["note"].label = "Why"
        self.fields["note"].help_text = ""


class ReverseForm(forms.Form):
    note = forms.CharField(
        label="What the mistake was",
        max_length=300,
        help_text="“Typed 430 instead of 340”, “belongs to another commission”.",
    )


class LetOffForm(forms.Form):
    reason = forms.CharField(
        label="Why", max_length=300, help_text="The journal keeps it; the client does not see it."
    )
