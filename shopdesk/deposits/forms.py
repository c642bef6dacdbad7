"""Money as people type it, and what the desk writes down about it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import Standing
from shopdesk.shop.fields import MoneyField as MoneyField
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


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


class CorrectForm(forms.Form):
    reason = forms.CharField(
        label="What was wrong", max_length=300, help_text="It stands on the credit, and the client reads it."
    )


class LetOffForm(forms.Form):
    reason = forms.CharField(
        label="Why", max_length=300, help_text="The journal keeps it; the client does not see it."
    )
