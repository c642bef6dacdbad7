"""A change as the owner writes it, and the answers to one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from shopdesk.changes.actions import MOST_DAYS
from shopdesk.changes.models import Change
from shopdesk.deposits.forms import day_input
from shopdesk.deposits.queries import Standing
from shopdesk.photos.forms import PicturesField
from shopdesk.shop.fields import MoneyField
from shopdesk.shop.models import Shop


class ChangeForm(forms.Form):
    reason = forms.CharField(
        label="What you found", max_length=3000, widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Or what they wish for by now. The client reads it.",
    )  # fmt: skip
    photos = PicturesField(label="Pictures of it", required=False, most=8)
    words = forms.CharField(
        label="What you would do", max_length=3000, widget=forms.Textarea(attrs={"rows": 3})
    )
    taxable = forms.BooleanField(label="It is taxed", required=False)
    days = forms.IntegerField(
        label="Days longer", min_value=0, max_value=MOST_DAYS, initial=0, required=False,
        help_text="The day on which it is ready moves by them.",
    )  # fmt: skip

    def __init__(self, *args: Any, shop: Shop, standing: Standing, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        price = MoneyField(
            shop,
            currency=standing.currency,
            negative=True,
            label=f"Price in {standing.currency}, without tax",
            help_text="With a minus if it costs less; 0 if it only takes longer.",
        )
        if not standing.account.tax_rate:
            del self.fields["taxable"]
            price.label = f"Price in {standing.currency}"
        fields = list(self.fields.items())
        self.fields = dict([*fields[:3], ("price", price), *fields[3:]])

    def clean_days(self) -> int:
        return self.cleaned_data["days"] or 0


class AcceptForm(forms.Form):
    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    agree = forms.BooleanField(label="I agree to this change as it stands above")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].error_messages["required"] = "Type your name to accept."
        self.fields["agree"].error_messages["required"] = "Tick this if you agree."


class DeclineForm(forms.Form):
    reason = forms.CharField(
        label="Why, if you like to say",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class RecordForm(forms.Form):
    """A yes that the owner writes down."""

    way = forms.ChoiceField(
        label="How they said yes",
        choices=[
            (Change.Way.PAPER.value, "On paper, signed"),
            (Change.Way.WORD.value, "By word of mouth"),
        ],
        widget=forms.RadioSelect,
    )
    name = forms.CharField(label="Who said yes", max_length=120)
    said_on = forms.DateField(label="On which day", widget=day_input())
    note = forms.CharField(
        label="Note",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What was said, who was there.",
    )
    paper = PicturesField(label="Picture of the signed sheet", required=False, most=1)

    def __init__(self, *args: Any, name: str, today: date, **kwargs: Any) -> None:
        kwargs["initial"] = {"name": name, "said_on": today, "way": Change.Way.WORD.value}
        super().__init__(*args, **kwargs)

    @property
    def paper_picture(self) -> Any:
        pictures: Sequence[Any] = self.cleaned_data.get("paper") or []
        return pictures[0] if pictures else None
