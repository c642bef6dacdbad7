"""The forms by which a quote is answered: on the client's page, and written down at the desk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.http import QueryDict

from shopdesk.deposits.forms import day_input
from shopdesk.photos.forms import PicturesField
from shopdesk.quotes.choices import by_id, choices_of
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.quotes.typed import choice_key


def asked(data: QueryDict, quote: Quote) -> set[int]:
    """The options that were ticked and chosen in `data` and are in this quote; anything else is passed
    over."""
    ticks = [*data.getlist("option"), *(data.get(name, "") for name in choice_names(quote))]
    options = by_id(quote.options.all())
    return {
        int(tick) for tick in ticks if tick.isascii() and tick.isdigit() and len(tick) < 16
    } & options.keys()


def choice_names(quote: Quote) -> list[str]:
    """The field of each choice: `choice-1`."""
    choices = choices_of(by_id(quote.options.all()))
    return [f"choice-{place}" for place in range(1, len(choices) + 1)]


class OptionsForm(forms.Form):
    """The options of a quote to tick, and its choices, of each of which one has to be chosen."""

    option = forms.TypedMultipleChoiceField(
        label="If you like", coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, quote: Quote, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        options = by_id(quote.options.all())
        field = self.fields["option"]
        assert isinstance(field, forms.TypedMultipleChoiceField)
        field.choices = [(str(key), one.text) for key, one in options.items() if not choice_key(one.choice)]
        field.error_messages["invalid_choice"] = "One of these options is not in this quote."
        self.choice_names = choice_names(quote)
        self.fields |= {
            name: forms.TypedChoiceField(
                label=choice.name,
                coerce=int,
                choices=[(str(key), options[key].text) for key in choice.ways],
                initial=str(choice.begun or ""),
                widget=forms.RadioSelect,
                error_messages={
                    "required": f"Choose one: {choice.name}.",
                    "invalid_choice": "One of these options is not in this quote.",
                },
            )
            for name, choice in zip(self.choice_names, choices_of(options), strict=True)
        }

    @property
    def chosen(self) -> set[int]:
        made = {self.cleaned_data.get(name) for name in self.choice_names} - {None, ""}
        return {*(self.cleaned_data.get("option") or []), *made}


class AcceptForm(OptionsForm):
    """A yes on the client's page. `shown` is the total that stood on the page when it was pressed."""

    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    terms = forms.BooleanField(label="I agree to the quote and its terms as they stand above")
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
        if not self.fields["option"].choices:  # type: ignore[attr-defined]  # it is a choice field
            del self.fields["option"]

    @property
    def paper_picture(self) -> Any:
        pictures: Sequence[Any] = self.cleaned_data.get("paper") or []
        return pictures[0] if pictures else None


class DeclineRequestForm(forms.Form):
    words = forms.CharField(
        label="Your words to them", max_length=3000, widget=forms.Textarea(attrs={"rows": 8})
    )
