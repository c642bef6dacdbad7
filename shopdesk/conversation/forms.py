"""A message, and a note of one that was answered elsewhere."""

from django import forms

from shopdesk.conversation.actions import LONGEST
from shopdesk.photos.forms import PicturesField


class MessageForm(forms.Form):
    text = forms.CharField(
        label="Your message",
        required=False,
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    photos = PicturesField(label="Pictures", required=False, most=6)


class NoteForm(forms.Form):
    note = forms.CharField(label="What was said", max_length=500)
