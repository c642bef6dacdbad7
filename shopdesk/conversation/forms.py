"""A message, a note of one that was answered elsewhere, and the shop's quick answers."""

from typing import Any

from django import forms

from shopdesk.conversation.actions import LONGEST, LONGEST_NOTE
from shopdesk.conversation.models import QuickAnswer
from shopdesk.conversation.quick import LONGEST as LONGEST_QUICK
from shopdesk.look.said import one_line
from shopdesk.photos.forms import PicturesField


class MessageForm(forms.Form):
    text = forms.CharField(
        label="Your message",
        required=False,
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    photos = PicturesField(label="Pictures", required=False, most=6)

    def __init__(self, *args: Any, to: str = "", **kwargs: Any) -> None:
        """`to`: whom the owner writes to."""
        super().__init__(*args, **kwargs)
        if to:
            self.fields["text"].label = f"To {one_line(to)}"


class NoteForm(forms.Form):
    """What was said elsewhere, where a message waits for an answer."""

    note = forms.CharField(label="What was said", max_length=500)


class OwnNoteForm(forms.Form):
    """A note that nobody but the owner sees."""

    say_needed = False
    note = forms.CharField(
        label="A note, or a call in one line",
        max_length=LONGEST_NOTE,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class QuickChoice(forms.Form):
    """Which quick answer is put into the box."""

    quick = forms.ModelChoiceField(
        QuickAnswer.objects.order_by("title", "id"),
        label="A quick answer",
        required=False,
        empty_label="Choose one",
    )


class QuickAnswerForm(forms.Form):
    say_needed = False
    title = forms.CharField(label="Its name", max_length=QuickAnswer._meta.get_field("title").max_length)
    text = forms.CharField(
        label="The words", max_length=LONGEST_QUICK, widget=forms.Textarea(attrs={"rows": 6})
    )
    edition = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    def __init__(self, *args: Any, kept: QuickAnswer | None = None, **kwargs: Any) -> None:
        if kept is not None:
            kwargs["initial"] = {"title": kept.title, "text": kept.text, "edition": kept.edition}
        super().__init__(*args, **kwargs)
