"""All kinds of email: what each is for, when and to whom it goes, and what its words may be filled with.

A kind is two files in `templates/emails/`: `<kind>.md` with the words and `<kind>.toml` with what is known
about it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from django.conf import settings

from shopdesk.mail.models import Email

SECTIONS = (
    "Asking and quoting",
    "Agreed and booked",
    "Bringing and fetching",
    "On the bench",
    "Money",
    "At any time",
)
"""Where a kind stands in the life of a commission, in that order."""
_LETTER_FIELDS = {
    "client": {
        "name": "The client’s name.",
        "pieces": "The pieces, as one says them: “writing desk, armchair and mirror”.",
        "number": "The commission’s number.",
        "page": "The link to the place on their page that this is about.",
        "shop_name": "The shop’s name.",
        "shop_phone": "The shop’s phone number, if you have written one down.",
    },
    "shop": {
        "name": "The client’s name.",
        "pieces": "The pieces, as one says them: “writing desk, armchair and mirror”.",
        "number": "The commission’s number.",
        "page": "The link to the place at the desk that this is about.",
        "shop_name": "The shop’s name.",
    },
}
"""What every email about a commission knows (`commissions.letters`)."""
_LETTER_SAMPLE = {
    "name": "Ottoline Brask",
    "number": "26-014",
    "pieces": "writing desk and armchair",
    "page": "shopdesk-link:sample/my/26-014/",
    "shop_name": "The shop",
    "shop_phone": "555-0118",
    "phone": "",
}
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
    section: str = SECTIONS[-1]
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


@dataclass(frozen=True)
class Source:
    """The words that an email is made of: a subject and a body with fields in braces."""

    subject: str
    body: str
    own: bool = False
    """Whether the shop wrote them itself."""


def kinds() -> list[str]:
    """Every kind that the shop has."""
    return sorted({path.stem for folder in _folders() for path in (folder / "emails").glob("*.toml")})


def about(kind: str) -> About:
    """What is known about a kind. One that nobody has written down counts as necessary."""
    found = _found(f"{kind}.toml")
    return _about(kind, *found) if found else About(kind, kind.replace("-", " ").capitalize())


def shipped(kind: str) -> Source:
    """The words that Shopdesk came with. Raises `LookupError` where there are none, `ValueError` where they
    are no words."""
    found = _found(f"{kind}.md")
    if found is None:
        raise LookupError(f"There are no words for the email “{kind}”.")
    return _shipped(kind, *found)


@lru_cache(256)
def _about(kind: str, path: Path, changed: int) -> About:
    known = tomllib.loads(path.read_text(encoding="utf-8"))
    to = known["to"]
    letter = known.get("letter", True)
    return About(
        kind=kind,
        title=known["title"],
        purpose=known["purpose"],
        goes=known["goes"],
        section=known["section"],
        to=to,
        sort=Email.Sort(known["sort"]),
        can_wait=known["can_wait"],
        required=tuple(known.get("required", ())),
        fields={**known.get("fields", {}), **(_LETTER_FIELDS[to] if letter else {})},
        parts=known.get("parts", {}),
        samples=_samples(known, _LETTER_SAMPLE if letter else {}),
    )


def _samples(known: Mapping[str, Any], common: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """The first is the sample itself; each of the others says what it has otherwise."""
    first = {**common, **known.get("sample", {})}
    others = {says: {**first, **other} for says, other in known.get("samples", {}).items()}
    return {known.get("sample_says", ""): first, **others}


@lru_cache(256)
def _shipped(kind: str, path: Path, changed: int) -> Source:
    head, _, body = path.read_text(encoding="utf-8").lstrip().partition("\n")
    subject = head.removeprefix("Subject:").strip()
    if not head.startswith("Subject:") or not subject or not body.strip():
        raise ValueError(f"The words of the email “{kind}” have to be a line “Subject: …” and then the body.")
    return Source(subject, body.strip("\n"))


def _found(name: str) -> tuple[Path, int] | None:
    """A file, and when it was changed: what was read from it holds until then."""
    for path in _paths(name, tuple(_folders())):
        try:
            return path, path.stat().st_mtime_ns
        except FileNotFoundError:
            continue
    return None


@lru_cache(256)
def _paths(name: str, folders: tuple[Path, ...]) -> list[Path]:
    return [folder / "emails" / name for folder in folders]


def _folders() -> list[Path]:
    configured: dict[str, Any] = settings.TEMPLATES[0]
    return [Path(folder) for folder in configured["DIRS"]]
