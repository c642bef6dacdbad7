"""Pictures and two lines."""

from django import forms

from shopdesk.photos.forms import PicturesField
from shopdesk.progress.actions import LONGEST


class UpdateForm(forms.Form):
    photos = PicturesField(label="Pictures", required=False, most=10)
    text = forms.CharField(
        label="Two lines", required=False, max_length=LONGEST, widget=forms.Textarea(attrs={"rows": 2})
    )
    finished = forms.BooleanField(label="This is the finished piece", required=False)
