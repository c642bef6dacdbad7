"""All kinds of email: what each is for, when and to whom it goes, and what its words may be filled with.

A kind is two files in `templates/emails/`: `<kind>.md` with the words and `<kind>.toml` with what is known
about it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from django.conf import settings

from shopdesk.mail.models import Email

_NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class About:
    """What is known about a kind of email."""

    kind: str
    title: str
    purpose: str = ""
    """What it is for, in a sentence."""
    goes: str = ""
    """When it goes, in a sentence."""
    to: Literal["client", "shop"] = "client"
    sort: Email.Sort = Email.Sort.NECESSARY
    can_wait: bool = False
    """Whether it keeps to the quiet hours and counts as the one email a day."""
    required: tuple[str, ...] = ()
    """Fields that its words cannot do without."""
    fields: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    """Each field that its words may have, and what it says."""
    parts: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    """What those fields are made of that are more than a value: Markdown with Django's tags."""
    samples: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: _NOTHING)
    """Contexts to show it with, each under what it is a sample of."""

    @property
    def can_be_switched_off(self) -> bool:
        """Whether the client may say that they want no more of its sort."""
        return self.to == "client" and self.sort in (Email.Sort.NEWS, Email.Sort.REMINDER)


def kinds() -> list[str]:
    """Every kind that the shop has."""
    return sorted(path.stem for path in _folder().glob("*.toml"))


@cache
def about(kind: str) -> About:
    """What is known about a kind. One that nobody has written down counts as necessary."""
    path = _folder() / f"{kind}.toml"
    if not path.is_file():
        return About(kind, kind.replace("-", " ").capitalize())
    known = tomllib.loads(path.read_text(encoding="utf-8"))
    return About(
        kind=kind,
        title=known["title"],
        purpose=known["purpose"],
        goes=known["goes"],
        to=known["to"],
        sort=Email.Sort(known["sort"]),
        can_wait=known["can_wait"],
        required=tuple(known.get("required", ())),
        fields=known.get("fields", {}),
        parts=known.get("parts", {}),
        samples=known.get("samples", {}),
    )


def _folder() -> Path:
    return Path(settings.BASE_DIR) / "templates" / "emails"
