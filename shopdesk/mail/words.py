"""From a template and the facts to subject, text and HTML.

`templates/emails/<kind>.md` is a line "Subject: …", an empty line, and Markdown with Django's template tags.
What people wrote is data: it goes through the template and through Markdown as a mark (a number between two
private-use characters) and is put in afterwards, so that nothing in it is ever markup, a link or a paragraph
of ours. `if`, `for`, `length`, `==` and the like see the real text; filters that change text see the mark
and change nothing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from html import escape
from typing import Any, cast
from urllib.parse import quote

from django.template import TemplateDoesNotExist, TemplateSyntaxError
from django.template.loader import render_to_string
from markdown_it import MarkdownIt
from markdown_it.token import Token
from markdown_it.tree import SyntaxTreeNode

from shopdesk.mail import frame, links
from shopdesk.mail.frame import Frame
from shopdesk.mail.models import Email

SUBJECT_LENGTH = 200
HTML_BYTES = 95_000
"""Mail programs cut an email off at about 102 kB: common practice, no source."""
_VALUE_LENGTHS = (None, 20_000, 4_000, 800)
"""How much of each value is shown: the first that keeps the HTML within its bytes."""

_OPEN, _CLOSE = "\ue000", "\ue001"
_MARK = re.compile(f"{_OPEN}(\\d+){_CLOSE}")
_TURNS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
"""Characters that turn the reading direction of what follows: in somebody's words they would turn ours."""


class NoWords(Exception):
    """The words cannot be made; the text says why, for the owner."""


@dataclass(frozen=True)
class Words:
    subject: str
    text: str
    html: str


def words(email: Email) -> Words:
    """What an email says: as it went out or, before its first try, as it would go out now. Links stand in it
    as placeholders. Raises `NoWords` when its template is missing or wrong."""
    if email.worded_at is not None:
        return Words(email.subject, email.text, email.html)
    around = frame.frame_of(email)
    made = Words("", "", "")
    for length in _VALUE_LENGTHS:
        made = _make(email.kind, _facts(email), around, length)
        if len(made.html.encode()) <= HTML_BYTES:
            break
    return made


def subject_of(email: Email) -> str:
    """Its subject alone; what kind of email it is, when it has no words."""
    if email.worded_at is not None:
        return email.subject
    try:
        return _filled(email.kind, _facts(email), _Book(None))[0]
    except NoWords:
        return email.kind.replace("-", " ").capitalize()


def _facts(email: Email) -> dict[str, Any]:
    """What its template is filled with. `by_email` is false where the owner passes the words on: then nothing
    is enclosed, and there is no email to answer."""
    return {
        "shop_name": email.from_name,
        **email.context,
        "by_email": email.way == Email.Way.EMAIL,
    }


def _filled(kind: str, context: dict[str, Any], book: _Book) -> tuple[str, str]:
    """The subject, and the Markdown with the book's marks still in it."""
    try:
        page = render_to_string(f"emails/{kind}.md", book.hidden(context))
    except TemplateDoesNotExist as error:
        raise NoWords(f"There is no template for the email “{kind}”.") from error
    except TemplateSyntaxError as error:
        raise NoWords(f"The template of the email “{kind}” is wrong: {error}") from error
    head, _, body = page.lstrip().partition("\n")
    if not head.startswith("Subject:") or not body.strip():
        raise NoWords(f"The template of the email “{kind}” has to be a line “Subject: …” and then the words.")
    subject = " ".join(book.shown(head.removeprefix("Subject:")).split())
    if len(subject) > SUBJECT_LENGTH:
        subject = f"{subject[: SUBJECT_LENGTH - 1].rstrip()}…"
    return subject, body


def _make(kind: str, context: dict[str, Any], around: Frame, length: int | None) -> Words:
    book = _Book(length)
    subject, body = _filled(kind, context, book)
    tokens = _markdown().parse(body)
    _lead_home(tokens, book)
    frame.make_presses(tokens)
    inner = book.shown_in_html(_markdown().renderer.render(tokens, _markdown().options, {}))
    lines = _blocks(SyntaxTreeNode(tokens).children, book)
    return Words(
        subject,
        frame.as_text(around, [*lines, *frame.pictures_as_text(around)]),
        frame.as_html(around, subject, inner + frame.pictures_as_html(around), lines[0]),
    )


# -- what people wrote, hidden from the template and from Markdown ----------------------------------------


class _Datum(str):
    """A real string to whoever asks it something, a mark to whoever prints it."""

    book: _Book
    mark: str

    def __str__(self) -> str:
        return self.mark

    def __html__(self) -> str:
        return self.mark

    def __format__(self, spec: str) -> str:
        return self.mark

    def __add__(self, other: str) -> str:
        return self.mark + str(other)

    def __radd__(self, other: str) -> str:
        return str(other) + self.mark

    def __getitem__(self, part: Any) -> _Datum:
        return self.book.entered(str.__getitem__(self, part))


@dataclass
class _Book:
    """The values by the number in their mark. No value is longer than `length`."""

    length: int | None
    values: list[str] = field(default_factory=list)

    def entered(self, value: str) -> _Datum:
        datum = _Datum(value)
        datum.book, datum.mark = self, f"{_OPEN}{len(self.values)}{_CLOSE}"
        self.values.append(value)
        return datum

    def hidden(self, value: Any, key: str = "") -> Any:
        """`value` with every string in it replaced by its datum."""
        if isinstance(value, str):
            value = _cleaned(value)
            if key != "page":  # what somebody wrote is no key, though it may look like one
                value = value.replace(links.SCHEME, links.SCHEME.replace(":", " "))
            if self.length is not None and len(value) > self.length:
                value = f"{value[: self.length].rstrip()} … (shortened here)"
            return self.entered(value)
        if isinstance(value, dict):
            return {self.hidden(name): self.hidden(one, name) for name, one in value.items()}
        if isinstance(value, list | tuple):
            return [self.hidden(one) for one in value]
        return value

    def shown(self, text: str) -> str:
        return _MARK.sub(lambda found: self.values[int(found[1])], text)

    def shown_in_html(self, html: str) -> str:
        return _MARK.sub(lambda found: escape(self.values[int(found[1])]).replace("\n", "<br>\n"), html)

    def address(self, href: str) -> str:
        """A link's address with its values. Raises `NoWords` for one that somebody's data would lead
        elsewhere."""
        if not _MARK.search(href):
            return href
        if href.startswith(("mailto:", "tel:")):
            return _MARK.sub(lambda found: quote(self.values[int(found[1])], safe="@+"), href)
        address = self.shown(href)
        if not links.leads_home(address):
            raise NoWords("A link in the email leads elsewhere than to the shop's own pages.")
        return address


def _cleaned(value: str) -> str:
    value = value.replace("\r\n", "\n").replace("\r", "\n").translate(_TURNS)
    return "".join(
        char for char in value if char in "\n\t" or unicodedata.category(char) not in ("Cc", "Co", "Cs")
    ).strip()


# -- Markdown -----------------------------------------------------------------------------------------------


class _Markdown(MarkdownIt):
    """Addresses stay as the template has them: `_lead_home` judges them once their values are known."""

    def validateLink(self, url: str) -> bool:
        return True

    def normalizeLink(self, url: str) -> str:
        return url


@cache
def _markdown() -> _Markdown:
    markdown = _Markdown("commonmark", {"html": False})
    markdown.disable("image")
    return markdown


def _lead_home(tokens: Sequence[Token], book: _Book) -> None:
    for token in tokens:
        if token.type == "link_open":
            token.attrs["href"] = book.address(str(token.attrs["href"]))
        _lead_home(token.children or [], book)


# -- the same tree as plain text ---------------------------------------------------------------


def _blocks(nodes: Sequence[SyntaxTreeNode], book: _Book, *, tight: bool = False) -> list[str]:
    lines: list[str] = []
    for node in nodes:
        block = _block(node, book)
        if lines and block and not tight:
            lines.append("")
        lines += block
    return lines


def _block(node: SyntaxTreeNode, book: _Book) -> list[str]:
    match node.type:
        case "paragraph" | "heading":
            return _inline(node.children[0], book).split("\n")
        case "blockquote":
            return [f"> {line}".rstrip() for line in _blocks(node.children, book)]
        case "bullet_list" | "ordered_list":
            return _listed(node, book)
        case "hr":
            return ["* * *"]
        case _:  # code, which no email of ours has, as it stands
            return book.shown(node.content).rstrip("\n").split("\n")


def _listed(node: SyntaxTreeNode, book: _Book) -> list[str]:
    tight = all(part.hidden for item in node.children for part in item.children if part.type == "paragraph")
    lines: list[str] = []
    for number, item in enumerate(node.children, int(cast(int, node.attrs.get("start", 1)))):
        bullet = "- " if node.type == "bullet_list" else f"{number}. "
        inside = _blocks(item.children, book, tight=tight) or [""]
        if lines and not tight:
            lines.append("")
        lines.append(f"{bullet}{inside[0]}".rstrip())
        lines += [f"{' ' * len(bullet)}{line}".rstrip() for line in inside[1:]]
    return lines


def _inline(node: SyntaxTreeNode, book: _Book) -> str:
    said = ""
    for part in node.children:
        match part.type:
            case "text" | "code_inline":
                said += book.shown(part.content)
            case "softbreak":
                said += " "
            case "hardbreak":
                said += "\n"
            case "link":
                said += _link(part, book, alone=len(node.children) == 1)
            case _:
                said += _inline(part, book)
    return said


def _link(node: SyntaxTreeNode, book: _Book, *, alone: bool) -> str:
    said, address = _inline(node, book), str(node.attrs["href"])
    if said in (address, address.removeprefix("mailto:"), address.removeprefix("tel:")):
        return said
    # In a sentence it stands in brackets, so that a full stop after it does not become part of it.
    return f"{said}: {address}" if alone else f"{said} ({address})"
