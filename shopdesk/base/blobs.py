"""Bytes by name. An email carries a document and a document shows a picture, and the three rooms do not
know each other: they name bytes by a ref ("documents:17", "pictures:5:large"). The room that owns them
registers how to fetch them, and says when they are there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.dispatch import Signal


@dataclass(frozen=True)
class Blob:
    """Bytes with their media type ("application/pdf")."""

    data: bytes
    mime: str


class NotYet(Exception):
    """The bytes are still being made. Come back."""


class Gone(Exception):
    """The bytes will never come; the text says why."""


ready = Signal()
"""Sent after commit with `ref` when bytes have come into being."""

_fetchers: dict[str, Callable[[str], Blob]] = {}


def register(kind: str, fetch: Callable[[str], Blob]) -> None:
    """`fetch` gets what stands after the first colon, and returns a `Blob` or raises `NotYet` or `Gone`."""
    _fetchers[kind] = fetch


def fetch(ref: str) -> Blob:
    """The bytes behind a ref. Raises `NotYet` or `Gone`."""
    kind, _, rest = ref.partition(":")
    try:
        fetcher = _fetchers[kind]
    except KeyError as error:
        raise Gone(f"Nobody keeps {kind!r}.") from error
    return fetcher(rest)
