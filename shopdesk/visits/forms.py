"""The time that somebody pressed, and where the shop comes to."""

from __future__ import annotations

from datetime import datetime

from django import forms


class TimeForm(forms.Form):
    """`start` is one of the free times on the page, in UTC as ISO 8601 writes it. `address` is asked for a
    site visit to somebody whose address is not known."""

    start = forms.CharField(
        label="Time", max_length=40, error_messages={"required": "Choose one of the times."}
    )

    def clean_start(self) -> datetime:
        try:
            start = datetime.fromisoformat(self.cleaned_data["start"])
        except ValueError as error:
            raise forms.ValidationError("Choose one of the times.") from error
        if start.utcoffset() is None or not 2000 < start.year < 2200:
            raise forms.ValidationError("Choose one of the times.")
        return start


class SiteForm(TimeForm):
    address = forms.CharField(
        label="Where is it?",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "street-address"}),
        help_text="The address, as on an envelope.",
        error_messages={"required": "Where is it? Write the address, as on an envelope."},
    )
