"""What people wrote, shown on a page: as text and nothing else, with its addresses made into links.

Nothing in it reaches beyond itself: marks that turn the reading direction and characters that nobody sees
are left out (Unicode UAX #9 and UTR #36 describe the tricks that are played with them), and each line reads
in its own direction (`dir="auto"` on the element around it, `<bdi>` around a name).
"""

from __future__ import annotations

import re
import unicodedata
from html import escape
from urllib.parse import quote, urlsplit

LINES = 3
"""How many empty lines may follow each other."""
_MARKS = 4
"""How many marks one letter may carry: more would run into the lines above and below it."""
_ADDRESS_LENGTH = 2_000

_JOINERS = "\u200c\u200d"
_SEEN = {"\n", "\t", *_JOINERS}
_HIDDEN = {"\u00ad", "\u034f", "\u115f", "\u1160", "\u17b4", "\u17b5", "\u2800", "\u3164", "\uffa0"}
"""Blank though not all of their categories say so: soft hyphen, grapheme joiner, fillers, the empty Braille
cell."""
_HELD_ELSEWHERE = re.compile(rf"(?<![^\x00-\x7f])[{_JOINERS}]+|[{_JOINERS}]+(?![^\x00-\x7f])")
"""Joiners belong between letters of the scripts that have them, and within emoji; never beside ASCII."""
_MARK = "[\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f]"
_HEAPED = re.compile(f"({_MARK}{{{_MARKS}}}){_MARK}+")
_EMPTY_LINES = re.compile(rf"\n(?:[ \t]*\n){{{LINES + 1},}}")

_LINK = re.compile(
    r"(?P<web>\bhttps?://[^\s<>\"“”«»`{}|\\^]+)"
    r"|(?P<mail>(?:\bmailto:)?(?<![\w.+@-])[\w.+-]{1,64}@[\w-]{1,63}(?:\.[\w-]{1,63})+)",
    re.IGNORECASE,
)
_AS_TYPED = "%/?#[]@!$&'()*+,;=:~-._"
"""What may stand in a path, a query and a fragment, escapes included (RFC 3986)."""
_CLOSING = {")": "(", "]": "[", "’": "‘", "'": "'"}


def cleaned(text: str) -> str:
    """The text without what turns or hides: letters, marks, emoji and line breaks stay as they are."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    kept = "".join(char for char in text if char in _SEEN or not _unseen(char))
    return _EMPTY_LINES.sub("\n" * (LINES + 1), _HEAPED.sub(r"\1", _HELD_ELSEWHERE.sub("", kept)))


def one_line(text: str) -> str:
    """The same for a name or a subject: in one line."""
    return " ".join(cleaned(text).split())


def written(text: str) -> str:
    """HTML of what somebody wrote: everything in it is text, and what is an address is a link."""
    text = cleaned(text)
    html, end = [], 0
    for found in _LINK.finditer(text):
        if len(found[0]) > _ADDRESS_LENGTH:
            continue
        address = _without_what_follows(found[0])
        link = _web_link(address) if found["web"] else _mail_link(address)
        if link:
            html += [escape(text[end : found.start()]), link]
            end = found.start() + len(address)
    return "".join([*html, escape(text[end:])])


def isolated(name: str) -> str:
    """HTML of a name: whatever its direction, what stands beside it keeps its own."""
    return f"<bdi>{escape(one_line(name))}</bdi>"


def _unseen(char: str) -> bool:
    return unicodedata.category(char) in ("Cc", "Cf", "Co", "Cs") or char in _HIDDEN


def _without_what_follows(address: str) -> str:
    """The address without the full stop, the comma or the bracket of the sentence that it stands in."""
    while address:
        last = address[-1]
        opening = _CLOSING.get(last)
        if last in ".,;:!?…*_~'" or (opening and address.count(last) > address.count(opening)):
            address = address[:-1]
        else:
            break
    return address


def _web_link(address: str) -> str:
    """A link to a web address; "" for one that is none, or that hides where it leads: behind a name before
    its host ("https://bank.example@elsewhere.example/"), or in a host that cannot be."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        return ""
    if parts.username is not None or not host or "%" in host:
        return ""
    plain = _host(host)
    if not plain:
        return ""
    where = f"{plain}:{port}" if port else plain
    rest = address[address.index("://") + 3 + len(parts.netloc) :]
    href = f"{parts.scheme.lower()}://{where}{quote(rest, safe=_AS_TYPED)}"
    beside = f" ({escape(plain)})" if plain != host else ""
    return f"{_link(href, address)}{beside}"


def _host(host: str) -> str:
    """The host in ASCII, as it is looked up (RFC 5891 writes it `xn--…`); "" when it cannot be one."""
    if host.isascii():
        return host if re.fullmatch(r"[a-z0-9_.:-]+", host) else ""
    try:
        return host.encode("idna").decode("ascii").lower()
    except UnicodeError:
        return ""


def _mail_link(address: str) -> str:
    plain = address.partition(":")[2] if address.lower().startswith("mailto:") else address
    if not plain.isascii():
        return ""
    return _link(f"mailto:{quote(plain, safe='@+')}", address)


def _link(href: str, words: str) -> str:
    return f'<a href="{escape(href)}" rel="nofollow noopener noreferrer" dir="ltr">{escape(words)}</a>'
