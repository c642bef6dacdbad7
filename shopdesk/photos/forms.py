"""A form field for pictures. Each file is judged on its own: one that is refused is named, and the good ones
are kept."""

from __future__ import annotations

import base64
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from shopdesk.base.refusals import Refused
from shopdesk.photos.actions import take_in, unreferred
from shopdesk.photos.models import Picture

ACCEPT = "image/jpeg,image/png,image/webp,image/heic,image/heif,.heic,.heif"
_SALT = "shopdesk.photos.kept"


@dataclass(frozen=True)
class Sent:
    """What came with the form: new files, and the signed names of pictures that came with it before."""

    uploads: Sequence[UploadedFile[Any]]
    kept: Sequence[str]


def token_for(picture: Picture) -> str:
    """A signed name for a picture that was taken in, for a hidden field of the form that it came with."""
    return signing.dumps(picture.key.hex, salt=_SALT)


class PicturesInput(forms.FileInput):
    """The file control and, above it, the pictures that came with an earlier try of the same form."""

    allow_multiple_selected = True
    kept: Sequence[Picture] = ()
    """Replaced, never changed: Django copies a form's widgets shallowly."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"accept": ACCEPT, "multiple": True, **(attrs or {})})

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Sent:
        away = set(_list(data, f"{name}-away"))
        kept = [token for token in dict.fromkeys(_list(data, f"{name}-kept")) if token not in away]
        return Sent([upload for upload in _list(files, name) if upload], kept)

    def value_omitted_from_data(self, data: Any, files: Any, name: str) -> bool:
        return name not in files and f"{name}-kept" not in data

    def use_required_attribute(self, initial: Any) -> bool:
        return not self.kept and super().use_required_attribute(initial)

    def render(
        self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: Any = None
    ) -> SafeString:
        control = super().render(name, None, attrs, renderer)
        shots = [
            {
                "token": token_for(picture),
                "name": picture.original_name or "a picture",
                "preview": _preview(picture),
            }
            for picture in self.kept
        ]
        context = {"control": mark_safe(control), "name": name, "shots": shots}  # noqa: S308  Django's own
        return SafeString(render_to_string("photos/pictures_field.html", context))


class PicturesField(forms.Field):
    """Up to `most` pictures. Cleans to a list of `Picture` that are taken in already, in the order in which
    they were sent.

    When the form has to be shown again, for these or any other mistakes, the pictures that were good are in
    it and are not asked for again.
    """

    widget = PicturesInput
    default_error_messages = {"required": "At least one picture is needed."}

    def __init__(self, *, most: int = 20, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.most = most
        if most == 1:
            self.widget.attrs.pop("multiple", None)

    def clean(self, value: Sent | None) -> list[Picture]:
        sent = value or Sent((), ())
        pictures, troubles = _found(sent.kept)
        for number, upload in enumerate(sent.uploads):
            if len(pictures) >= self.most:
                troubles.append(self._too_many(len(sent.uploads) - number))
                break
            try:
                pictures.append(take_in(upload, upload.name or ""))
            except Refused as no:
                troubles.append(no.sentence)
        assert isinstance(self.widget, PicturesInput)
        self.widget.kept = pictures
        if troubles:
            raise ValidationError([ValidationError(trouble) for trouble in troubles])
        if self.required and not pictures:
            raise ValidationError(self.error_messages["required"], code="required")
        self.run_validators(pictures)
        return pictures

    def _too_many(self, over: int) -> str:
        if self.most == 1:
            return "One picture is the most we can take here; we kept the first."
        did_not_fit = "1 did not fit" if over == 1 else f"{over} did not fit"
        return f"{self.most} pictures are the most we can take; {did_not_fit}."

    def has_changed(self, initial: Any, data: Sent | None) -> bool:
        return bool(data and (data.uploads or data.kept))


def _found(tokens: Sequence[str]) -> tuple[list[Picture], list[str]]:
    """The pictures of an earlier try, and what to say about those that are gone. One that something shows by
    now came with a press that went through: it is taken once."""
    keys = []
    for token in tokens[:100]:
        try:
            keys.append(uuid.UUID(signing.loads(token, salt=_SALT)))
        except (signing.BadSignature, ValueError, TypeError):
            continue  # not from us: nothing to say to whoever made it up
    there = {
        picture.key: picture
        for picture in Picture.objects.filter(key__in=keys).prefetch_related("renditions")
    }
    free = set(unreferred(Picture.objects.filter(key__in=keys)).values_list("key", flat=True))
    gone = [key for key in keys if key not in there]
    said = ["A picture that you chose earlier is no longer here. Please choose it again."] if gone else []
    return [there[key] for key in keys if key in free and key in there], said


def _preview(picture: Picture) -> str:
    """The small rendition as a data address: nobody may fetch a picture that belongs to nothing yet. Empty
    while it is being prepared."""
    small = next((one for one in picture.renditions.all() if one.size == "small"), None)
    if small is None or not picture.prepared:
        return ""
    try:
        data = (settings.PICTURES / small.path).read_bytes()
    except OSError:
        return ""
    return f"data:image/webp;base64,{base64.b64encode(data).decode('ascii')}"


def _list(source: Any, name: str) -> list[Any]:
    """All values of a name, from a `QueryDict` or `MultiValueDict` as well as from a plain dictionary."""
    if hasattr(source, "getlist"):
        return list(source.getlist(name))
    value = source.get(name)
    if value is None:
        return []
    return list(value) if isinstance(value, list | tuple) else [value]
