"""A sample as proposed, and the answer to one."""

from __future__ import annotations

from typing import Any

from django import forms

from shopdesk.photos.forms import PicturesField


class SampleForm(forms.Form):
    piece = forms.ChoiceField(label="For which piece")
    name = forms.CharField(
        label="Name of the colour", max_length=120, help_text="One that both of you will know it by."
    )
    maker_code = forms.CharField(label="Maker's code", max_length=60, required=False)
    product = forms.CharField(label="Product", max_length=120, required=False)
    sheen = forms.CharField(
        label="Sheen",
        max_length=40,
        required=False,
        help_text="It moves a colour more than a drop of tint does.",
    )
    screen_colour = forms.CharField(
        label="Colour for the screen",
        max_length=7,
        required=False,
        help_text="As #rrggbb. Only a hint: screens lie.",
    )
    note = forms.CharField(
        label="Note", max_length=1000, required=False, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="How the board reaches them, what to look for.",
    )  # fmt: skip
    photos = PicturesField(label="Picture of the board", required=False, most=1)

    def __init__(self, *args: Any, pieces: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["piece"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = pieces
        if len(pieces) == 1:
            field.initial = pieces[0][0]
            field.widget = forms.HiddenInput()


class AnswerForm(forms.Form):
    """Yes by name, or what is not right yet."""

    name = forms.CharField(label="Your name", max_length=120)
    answer = forms.CharField(
        label="What is not right yet",
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Only if you would like another one: too dark, too warm, too shiny.",
    )
