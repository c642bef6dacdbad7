"""The field for pictures: each judged on its own, and nothing that was good is asked for twice."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from shopdesk.commissions.actions import add_shots
from shopdesk.commissions.models import Commission, Shot
from shopdesk.photos import actions
from shopdesk.photos.forms import PicturesField, token_for
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


class Note(forms.Form):
    words = forms.CharField()
    photos = PicturesField(label="Pictures", required=False, most=3)


class Needed(forms.Form):
    photos = PicturesField(label="Pictures", most=1)


def note(words: str, uploads: list[SimpleUploadedFile], **more: list[str]) -> Note:
    typed = QueryDict(mutable=True)
    typed["words"] = words
    for name, values in more.items():
        typed.setlist(f"photos-{name}", values)
    sent: list[UploadedFile[Any]] = [*uploads]
    return Note(typed, MultiValueDict({"photos": sent}))


def kept_in(form: forms.Form) -> list[str]:
    return re.findall(r'name="photos-kept" value="([^"]+)"', str(form["photos"]))


def test_takes_several_in_their_order(picture_file: MakePicture) -> None:
    form = note("Fine", [picture_file("one.jpg"), picture_file("two.png", fmt="PNG")])
    assert form.is_valid(), form.errors
    assert [picture.original_name for picture in form.cleaned_data["photos"]] == ["one.jpg", "two.png"]


def test_none_is_fine_unless_one_is_needed() -> None:
    form = note("Fine", [])
    assert form.is_valid()
    assert form.cleaned_data["photos"] == []
    needed = Needed(QueryDict(), MultiValueDict())
    assert needed.errors == {"photos": ["At least one picture is needed."]}


def test_names_the_bad_one_and_keeps_the_good_ones(picture_file: MakePicture) -> None:
    form = note(
        "Fine", [picture_file("one.jpg"), SimpleUploadedFile("letter.txt", b"Dear"), picture_file("two.jpg")]
    )
    assert form.errors == {
        "photos": ["“letter.txt” is not a picture that we can open. JPEG, PNG, WebP and HEIC work."]
    }
    tokens = kept_in(form)
    assert len(tokens) == 2
    again = note("Fine", [], kept=tokens)
    assert again.is_valid(), again.errors
    assert [picture.original_name for picture in again.cleaned_data["photos"]] == ["one.jpg", "two.jpg"]
    assert Picture.objects.count() == 2


def test_keeps_them_when_something_else_is_wrong(picture_file: MakePicture) -> None:
    form = note("", [picture_file("one.jpg")])
    assert list(form.errors) == ["words"]
    tokens = kept_in(form)
    again = note("", [picture_file("two.jpg")], kept=tokens)
    assert not again.is_valid()
    assert len(kept_in(again)) == 2
    assert "one.jpg" in str(again["photos"])


def test_leaves_out_what_was_ticked(picture_file: MakePicture) -> None:
    tokens = kept_in(note("", [picture_file("one.jpg"), picture_file("two.jpg")]))
    assert note("", []).errors  # a form of its own: nothing of the first one is in it
    form = note("Fine", [], kept=tokens, away=tokens[:1])
    assert form.is_valid()
    assert [picture.original_name for picture in form.cleaned_data["photos"]] == ["two.jpg"]


def test_says_how_many_did_not_fit(picture_file: MakePicture) -> None:
    form = note("Fine", [picture_file(f"{n}.jpg") for n in range(5)])
    assert form.errors == {"photos": ["3 pictures are the most we can take; 2 did not fit."]}
    assert len(kept_in(form)) == 3
    assert Picture.objects.count() == 3
    over = note("Fine", [picture_file("one more.jpg")], kept=kept_in(form))
    assert over.errors == {"photos": ["3 pictures are the most we can take; 1 did not fit."]}


def test_a_twenty_first_does_not_fit(picture_file: MakePicture) -> None:
    class Twenty(forms.Form):
        photos = PicturesField()

    form = Twenty(
        QueryDict(), MultiValueDict({"photos": [picture_file(f"{n}.jpg", (8, 8)) for n in range(21)]})
    )
    assert form.errors == {"photos": ["20 pictures are the most we can take; 1 did not fit."]}
    assert Picture.objects.count() == 20


@pytest.mark.parametrize("token", ["nonsense", "", "ImZmZiI:1abc:xyz"])
def test_believes_only_its_own_names(token: str) -> None:
    form = note("Fine", [], kept=[token])
    assert form.is_valid()
    assert form.cleaned_data["photos"] == []


def test_says_when_one_is_gone(picture_file: MakePicture) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    token = token_for(picture)
    actions.forget(picture)
    form = note("Fine", [], kept=[token])
    assert form.errors == {
        "photos": ["A picture that you chose earlier is no longer here. Please choose it again."]
    }


def test_the_control_can_be_used_by_everybody(picture_file: MakePicture, work: Any) -> None:
    plain = str(Note()["photos"])
    assert 'accept="image/jpeg,image/png,image/webp,image/heic,image/heif,.heic,.heif"' in plain
    assert " multiple" in plain
    assert " multiple" not in str(Needed()["photos"])
    assert "capture" not in plain  # the phone asks: camera, or a picture that is there already
    form = note("", [picture_file('"><b>.jpg')])
    page = str(form["photos"])
    assert "It is with us" in page
    assert "<b>" not in page
    work()
    page = str(note("", [], kept=kept_in(form))["photos"])
    again = note("", [], kept=kept_in(form))
    assert not again.is_valid()
    page = str(again["photos"])
    assert 'src="data:image/webp;base64,' in page
    assert 'alt="The picture you chose, ' in page
    assert "style=" not in page


def test_a_needed_one_that_is_there_is_not_asked_for_again(picture_file: MakePicture) -> None:
    assert " required" in str(Needed()["photos"])

    class Two(Needed):
        words = forms.CharField()

    form = Two(QueryDict(), MultiValueDict({"photos": [picture_file()]}))
    assert list(form.errors) == ["words"]
    assert " required" not in str(form["photos"])


def test_one_that_went_through_already_is_taken_once(
    picture_file: MakePicture, commission: Commission
) -> None:
    tokens = kept_in(note("", [picture_file("one.jpg"), picture_file("two.jpg")]))
    add_shots(commission, [Picture.objects.get(original_name="one.jpg")], Shot.Kind.MESSAGE)
    form = note("Fine", [], kept=tokens)
    assert form.is_valid()
    assert [picture.original_name for picture in form.cleaned_data["photos"]] == ["two.jpg"]
