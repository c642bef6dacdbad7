"""What the owner writes down when a stage moves."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from shopdesk.craft.money import parse_amount
from shopdesk.deposits.models import Entry

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class CheckInForm(forms.Form):
    on = forms.DateField(label="Came in on", widget=DAY)
    note = forms.CharField(label="Note", max_length=300, required=False)


class HoldForm(forms.Form):
    note = forms.CharField(label="Why it waits", max_length=300)
    tell = forms.BooleanField(label="Tell the client", required=False, initial=True)


class CancelForm(forms.Form):
    """`received` is what came in so far: the deposit's fate is said here."""

    reason = forms.CharField(label="Who cancels, and why", max_length=300)
    give_back = forms.CharField(label="Give back to the client", max_length=30, required=False)
    how = forms.ChoiceField(label="How", choices=Entry.How.choices, required=False)
    on = forms.DateField(label="On", widget=DAY)

    def __init__(self, *args: Any, received: Decimal, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.received, self.currency = received, currency
        if not received:
            for name in ("give_back", "how", "on"):
                del self.fields[name]

    def clean_give_back(self) -> Decimal:
        typed = str(self.cleaned_data["give_back"]).strip()
        if not typed:
            return Decimal(0)
        try:
            return parse_amount(typed, self.currency)
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
