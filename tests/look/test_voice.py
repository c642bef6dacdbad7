"""What forms say when something is wrong is said in the shop's own words, not in the framework's."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile
from django.utils.datastructures import MultiValueDict

FRAMEWORK = re.compile(r"Ensure|Enter a|valid|This field|Select|submitted|Null")


class _Everything(forms.Form):
    line = forms.CharField(max_length=5, min_length=2)
    choice = forms.ChoiceField(choices=[("a", "A")])
    typed = forms.TypedChoiceField(choices=[("1", "One")], coerce=int)
    several = forms.MultipleChoiceField(choices=[("a", "A")])
    whole = forms.IntegerField(min_value=1, max_value=9)
    number = forms.DecimalField()
    day = forms.DateField()
    time = forms.TimeField()
    email = forms.EmailField()
    file = forms.FileField()


@pytest.mark.parametrize(
    "data",
    [
        {},
        dict.fromkeys(_Everything.base_fields, "x"),
        dict.fromkeys(_Everything.base_fields, "99999999"),
        dict.fromkeys(_Everything.base_fields, "0"),
        dict.fromkeys(_Everything.base_fields, "a\x00b"),
    ],
)
def test_nothing_is_said_in_the_frameworks_voice(data: dict[str, Any]) -> None:
    files: MultiValueDict[str, UploadedFile[Any]] = MultiValueDict(
        {"file": [SimpleUploadedFile("empty.txt", b"")]} if data else {}
    )
    form = _Everything(data, files)
    assert not form.is_valid()
    said = [str(error) for errors in form.errors.values() for error in errors]
    assert len(said) >= 7
    for sentence in said:
        assert FRAMEWORK.search(sentence) is None, sentence


def test_how_much_too_long_is_said() -> None:
    form = _Everything({"line": "far too long"})
    assert form.errors["line"] == ["That is 12 characters long, and we can take 5. Please shorten it."]
