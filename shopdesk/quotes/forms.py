"""The fields and the small forms of which the quote's one form is made."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from shopdesk.deposits.forms import day_input
from shopdesk.quotes.models import Line
from shopdesk.shop.fields import MoneyField, NumberField
from shopdesk.shop.models import Shop

STARTERS = (Line.Kind.PREPARATION, Line.Kind.FINISH, Line.Kind.MATERIALS)
"""The rows that a piece without lines begins with."""


class ByNumberField(forms.CharField):
    """Prices by number as people write them (`4: 72, 8: 68.50`), cleaned to pairs of number and price."""

    def __init__(self, shop: Shop, *, currency: str, **kwargs: Any) -> None:
        self.least = NumberField(shop, decimals=3, most=100_000, required=False)
        self.price = MoneyField(shop, currency=currency, required=False)
        widget = forms.TextInput(attrs={"autocomplete": "off", "placeholder": "4: 72"})
        super().__init__(max_length=120, required=False, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        written = str(super().clean(value) or "")
        pairs = []
        for part in re.split(r"\s*;\s*|,\s+|\n", written) if written else []:
            least, between, price = part.partition(":")
            pair = (self.least.clean(least.strip()), self.price.clean(price.strip()))
            if not between or None in pair:
                raise ValidationError("Write it like 4: 72, 8: 68.50 (from 4 on each costs 72).")
            pairs.append(pair)
        return tuple(pairs)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, str):
            return value
        return "; ".join(
            f"{self.least.prepare_value(Decimal(least))}: {self.price.prepare_value(Decimal(price))}"
            for least, price in value or ()
        )


def _text(rows: int) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class HeadForm(forms.Form):
    """What belongs to the quote as a whole."""

    starts_on = forms.DateField(label="Work can start", required=False, widget=day_input())
    ready_on = forms.DateField(label="Ready about", required=False, widget=day_input())
    good_until = forms.DateField(label="Price good until", required=False, widget=day_input())
    note = forms.CharField(
        label="A few words before the figures", required=False, max_length=2000, widget=_text(2)
    )
    sample_promised = forms.BooleanField(
        label="They approve a sample before the first coat of colour", required=False
    )
    show_lines = forms.BooleanField(label="Show them your own lines", required=False)
    included = forms.CharField(
        label="Included", required=False, max_length=3000, widget=_text(3), help_text="One a line."
    )
    not_included = forms.CharField(
        label="Not included", required=False, max_length=3000, widget=_text(3), help_text="One a line."
    )
    terms = forms.CharField(label="Terms", required=False, max_length=10000, widget=_text(4))
    rush = forms.BooleanField(label="It is a rush", required=False)
    discount_words = forms.CharField(label="What the discount is for", required=False, max_length=120)
    edition = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=1_000_000_000)
    say_needed = False
    NAMES = (
        "starts_on", "ready_on", "good_until", "note", "sample_promised", "show_lines", "included",
        "not_included", "terms", "edition", "deposit_share", "minimum", "rush", "rush_share", "discount",
        "discount_words",
    )  # fmt: skip
    TICKS = ("sample_promised", "show_lines", "rush")

    def __init__(self, *args: Any, shop: Shop, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        share = NumberField(shop, decimals=2, most=100, label="Deposit, in % of the total")
        share.error_messages["required"] = "Write 0 for no deposit."
        self.fields["deposit_share"] = share
        self.fields |= {
            "minimum": MoneyField(shop, currency=currency, label="Smallest charge", required=False),
            "rush_share": NumberField(shop, decimals=2, most=200, label="Rush adds, in %", required=False),
            "discount": MoneyField(shop, currency=currency, label="Discount", required=False),
        }


class PieceForm(forms.Form):
    piece = forms.IntegerField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="Piece", max_length=160)
    words = forms.CharField(
        label="What you do to it, in words", required=False, max_length=6000, widget=_text(4)
    )
    say_needed = False


class LineForm(forms.Form):
    """A line's labels stand at the head of their column, so each field carries one of its own for those who
    listen. `shared` are fields that many lines have in common, where none of them is drawn."""

    say_needed = False

    def __init__(
        self,
        *args: Any,
        shop: Shop,
        currency: str,
        said: str,
        shared: dict[str, forms.Field] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        if shared is not None:
            self.fields = shared
            return
        self.fields = line_fields(shop, currency)
        for one in self.fields.values():
            one.widget.attrs["aria-label"] = f"{one.label}, {said}"


def line_fields(shop: Shop, currency: str) -> dict[str, forms.Field]:
    made: dict[str, forms.Field] = {
        "text": forms.CharField(label="What", max_length=200),
        "kind": forms.ChoiceField(label="Kind", choices=Line.Kind.choices),
        "quantity": NumberField(shop, decimals=3, most=100_000, label="How many"),
        "unit": forms.CharField(label="Unit", max_length=20, required=False),
        "unit_price": MoneyField(shop, currency=currency, label="Price of one"),
        "taxable": forms.BooleanField(label="Taxed", required=False),
        "allowance": forms.BooleanField(label="Set aside", required=False),
        "by_number": ByNumberField(shop, currency=currency, label="From a number on, each"),
    }
    made["text"].error_messages["required"] = "Say what it is for."
    made["quantity"].error_messages["required"] = "How many?"
    made["unit_price"].error_messages["required"] = "Write the price of one."
    return made


class OptionForm(forms.Form):
    say_needed = False

    def __init__(self, *args: Any, shop: Shop, currency: str, said: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {
            "text": forms.CharField(label="What they may tick", max_length=200),
            "price": MoneyField(shop, currency=currency, negative=True, label="Price"),
            "taxable": forms.BooleanField(label="Taxed", required=False),
            "choice": forms.CharField(label="Choose one of", max_length=80, required=False),
            "preselected": forms.BooleanField(label="Chosen to begin with", required=False),
            "allowance": forms.BooleanField(label="Set aside", required=False),
        }
        for one in self.fields.values():
            one.widget.attrs["aria-label"] = f"{one.label}, {said}"
        self.fields["choice"].widget.attrs["placeholder"] = "The top"
        self.fields["text"].error_messages["required"] = "Say what it is."
        self.fields["price"].error_messages["required"] = "Write its price."
