"""The time that somebody pressed."""

from __future__ import annotations

from datetime import datetime

from django import forms


class TimeForm(forms.Form):
    """`start` is one of the free times on the page, in UTC as ISO 8601 writes it."""

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
