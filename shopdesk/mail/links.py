"""Links in emails. A stored email holds `shopdesk-link:client/17/my/26-014/`; the real address, which is a
key, is put in when the email is handed over, and is written down nowhere."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from html import escape

from django.conf import settings

SCHEME = "shopdesk-link:"
_PLACEHOLDER = re.compile(SCHEME + r"([a-z]+)/([\w./%~+-]*)", re.ASCII)
WriteAll = Callable[[Collection[str]], Mapping[str, str]]
_writers: dict[str, Callable[[str], str]] = {}
_writers_of_many: dict[str, WriteAll] = {}


def register(kind: str, write: Callable[[str], str], write_all: WriteAll | None = None) -> None:
    """`write` gets what stands after "kind/" and returns an absolute address, or raises `LookupError`.
    `write_all` does the same for many in one statement, and leaves out what leads nowhere."""
    _writers[kind] = write
    if write_all is not None:
        _writers_of_many[kind] = write_all


def desk_placeholder(path: str) -> str:
    """A link to a page of the desk, for emails to the owner. No secret in it: the desk asks who is there."""
    return f"{SCHEME}desk{path}"


register("desk", lambda rest: f"{settings.PUBLIC_URL}/{rest}")


def leads_home(address: str) -> bool:
    """Whether an address is a placeholder or stands under the shop's own public address: no other link is
    put into an email from somebody's data."""
    home = settings.PUBLIC_URL
    return bool(_PLACEHOLDER.fullmatch(address)) or address == home or address.startswith(f"{home}/")


def put_in(text: str, written: dict[str, str] | None = None) -> str:
    """The text with every placeholder replaced by its link. Raises `LookupError` when one leads nowhere any
    more. `written` is filled with the links, so that the same one in another text is not asked for again."""
    return _PLACEHOLDER.sub(lambda found: _written(found, written), text)


def put_into_html(html: str, written: dict[str, str] | None = None) -> str:
    """The same for HTML, where a link stands in an attribute or as text."""
    return _PLACEHOLDER.sub(lambda found: escape(_written(found, written)), html)


def _written(found: re.Match[str], written: dict[str, str] | None) -> str:
    known = {} if written is None else written
    if found[0] not in known:
        known[found[0]] = _writers[found[1]](found[2])
    return known[found[0]]


def written_for(texts: Iterable[str]) -> dict[str, str]:
    """The links in many texts, as far as they can be written together: for `put_in`'s `written`."""
    asked: dict[str, set[str]] = {}
    for text in texts:
        for kind, rest in _PLACEHOLDER.findall(text):
            if kind in _writers_of_many:
                asked.setdefault(kind, set()).add(rest)
    return {
        f"{SCHEME}{kind}/{rest}": link
        for kind, rests in asked.items()
        for rest, link in _writers_of_many[kind](rests).items()
    }


def hinted(text: str) -> str:
    """The text for eyes that need no key: "…/my/26-014/" stands where a link goes out."""

    def hint(found: re.Match[str]) -> str:
        kind, rest = found[1], found[2]
        return f"…/{rest if kind == 'desk' else rest.partition('/')[2]}"

    return _PLACEHOLDER.sub(hint, text)
