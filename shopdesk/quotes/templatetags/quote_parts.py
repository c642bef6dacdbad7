"""`{{ pictures|at:piece.picture_ref }}`"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms, template
from django.forms.boundfield import BoundField

register = template.Library()


@register.filter
def at(things: Mapping[str, Any] | None, key: str | None) -> Any:
    """What stands in a mapping under a key that is itself a value; nothing where there is none."""
    return (things or {}).get(key or "")


@register.filter
def choice_field(form: forms.Form, place: int) -> BoundField:
    """The field of a quote's choice, by its place."""
    return form[f"choice-{place}"]


@register.filter
def named(form: forms.Form, name: str) -> BoundField:
    """A field of a form by its name."""
    return form[name]
