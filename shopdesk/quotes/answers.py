"""The forms by which a quote is answered: on the client's page, and written down at the desk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from shopdesk.deposits.forms import day_input
from shopdesk.photos.forms import PicturesField
from shopdesk.quotes.models import Acceptance, Quote


class OptionsForm(forms.Form):
    """The options of a quote, to tick. `option` cleans to their ids."""

    option = forms.TypedMultipleChoiceField(
        label="If you like", coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, quote: Quote, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["option"]
        assert isinstance(field, forms.TypedMultipleChoiceField)
        field.choices = [(str(option.pk), option.text) for option in quote.options.all()]
        field.error_messages["invalid_choice"] = "One of these options is not in this quote."

    @property
    def chosen(self) -> set[int]:
        return set(self.cleaned_data.get("option") or [])


class AcceptForm(OptionsForm):
    """A yes on the client's page. `shown` is the total that stood on the page when it was pressed."""

    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    terms = forms.BooleanField(label="I agree to the quote and its terms as they stand above.")
    shown = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].error_messages["required"] = "Type your name to accept."
        self.fields["terms"].error_messages["required"] = (
            "Tick this if you agree; without it we cannot begin."
        )


class DeclineForm(forms.Form):
    reason = forms.CharField(
        label="Why, if you like to say",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class RecordForm(OptionsForm):
    """A yes that the owner writes down."""

    way = forms.ChoiceField(
        label="How they said yes",
        choices=[
            (Acceptance.Way.PAPER.value, "On paper, signed"),
            (Acceptance.Way.WORD.value, "By word of mouth"),
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

    def __init__(self, *args: Any, quote: Quote, name: str, today: date, **kwargs: Any) -> None:
        initial = {"name": name, "said_on": today, "way": Acceptance.Way.WORD.value}
        super().__init__(*args, quote=quote, initial=initial, **kwargs)
        self.fields["option"].label = "What they ticked"
        if not quote.options.all():
            del self.fields["option"]

    @property
    def paper_picture(self) -> Any:
        pictures: Sequence[Any] = self.cleaned_data.get("paper") or []
        return pictures[0] if pictures else None


class DeclineRequestForm(forms.Form):
    words = forms.CharField(
        label="Your words to them", max_length=3000, widget=forms.Textarea(attrs={"rows": 8})
    )
