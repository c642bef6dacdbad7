"""From a kind's words and the facts to subject, text and HTML.

The words are Markdown with fields in braces (`mail.filling`): those in `templates/emails/<kind>.md`, or the
shop's own (`mail.own`). What people wrote is data and never markup (`mail.book`)."""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import quote

from django.template import TemplateSyntaxError

from shopdesk.mail import catalogue, frame, links, mime, typeset
from shopdesk.mail.blanks import BlankError
from shopdesk.mail.book import MARK, Book
from shopdesk.mail.catalogue import Source
from shopdesk.mail.filling import Fields, filled, filled_line
from shopdesk.mail.frame import Frame, Stop
from shopdesk.mail.models import Email
from shopdesk.mail.own import Sources
from shopdesk.mail.plain import text_of
from shopdesk.mail.typeset import Body

log = logging.getLogger(__name__)

SUBJECT_LENGTH = 200
LETTER_BYTES = 95_000
"""Of both texts, as they travel. Mail programs cut off at about 102 kB: common practice, no source."""
_VALUE_LENGTHS = (None, 20_000, 4_000, 800, 200)
"""How much of each value is shown: the first that keeps both texts within their bytes."""
BUNDLE = "together"
"""The kind whose words go around several emails in one."""
_LISTED = 70
"""How long the subjects of several emails may be together to stand in the subject of the one."""
_COUNTED = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


class NoWords(Exception):
    """The words cannot be made; the text says why, for the owner."""


@dataclass(frozen=True)
class Words:
    subject: str
    text: str
    html: str

    @property
    def size(self) -> int:
        """How large both texts are as they travel; where that is little, at most so large."""
        plain, html = len(self.text.encode()), len(self.html.encode())
        most = 3 * (plain + html)  # as quoted-printable, each byte as three
        if most <= LETTER_BYTES:
            return most
        return len(
            mime.text(self.text, "text/plain").as_bytes() + mime.text(self.html, "text/html").as_bytes()
        )


def words(email: Email, sources: Sources | None = None) -> Words:
    """What an email says: as it went out or, before its first try, as it would go out now. Links stand in it
    as placeholders. Who asks for many hands in the `sources`. Raises `NoWords` when there are no words for
    it, or wrong ones."""
    if email.worded_at is not None:
        return Words(email.subject, email.text, email.html)
    source = _source(email.kind, sources)
    try:
        return with_source(email, source)
    except NoWords as error:
        if not source.own:
            raise
        log.error("The shop's own words for email %s are left aside: %s", email.pk, error)
        return with_source(email, _shipped(email.kind))


def with_source(email: Email, source: Source) -> Words:
    """What an email would say with these words. Raises `NoWords`."""
    around = frame.frame_of(email)
    made = Words("", "", "")
    for length in _VALUE_LENGTHS:
        book = Book(length)
        fields = _fields(email, book)
        markdown = f"{_filled(email.kind, source, fields)}\n\n{_insert(0, around)}"
        made = _letter(markdown, book, around, _subject(source, fields, book), [around])
        if made.size <= LETTER_BYTES:
            return made
    if source.own:
        raise NoWords("Laid out, that is more than mail programs show. Make it shorter, or simpler.")
    return made


def subject_of(email: Email, sources: Sources | None = None) -> str:
    """Its subject alone; what kind of email it is, when it has no words."""
    if email.worded_at is not None:
        return email.subject
    book = Book()
    try:
        return _subject(_source(email.kind, sources), _fields(email, book), book)
    except NoWords:
        return email.kind.replace("-", " ").capitalize()


def field_values(email: Email) -> dict[str, str]:
    """What stands for each field of its kind, as text."""
    book = Book()
    fields = _fields(email, book)
    said = {}
    for name in catalogue.about(email.kind).fields:
        _, body, shown = _set(fields[name], book, [])
        said[name] = "\n".join(text_of(body.nodes, shown))
    return said


def _source(kind: str, sources: Sources | None = None) -> Source:
    try:
        return (sources or Sources(kind))[kind]
    except (LookupError, ValueError) as error:
        raise NoWords(str(error)) from error


def _shipped(kind: str) -> Source:
    try:
        return catalogue.shipped(kind)
    except (LookupError, ValueError) as error:
        raise NoWords(str(error)) from error


def _fields(email: Email, book: Book) -> Fields:
    """`by_email` is false where the owner passes the words on: then nothing is enclosed, and there is no
    email to answer."""
    facts = {"shop_name": email.from_name, **email.context, "by_email": email.way == Email.Way.EMAIL}
    return Fields(facts, catalogue.about(email.kind).parts, book)


def _filled(kind: str, source: Source, fields: Fields) -> str:
    """The Markdown, with the book's marks in it."""
    try:
        markdown = filled(source.body, fields)
    except (BlankError, TemplateSyntaxError) as error:
        raise NoWords(f"The words of the email “{kind}” are wrong: {error}") from error
    if not markdown.strip():
        raise NoWords(f"The words of the email “{kind}” come to nothing.")
    return markdown


def _subject(source: Source, fields: Fields, book: Book) -> str:
    try:
        subject = " ".join(book.shown(filled_line(source.subject, fields)).split())
    except (BlankError, TemplateSyntaxError) as error:
        raise NoWords(f"The subject “{source.subject}” is wrong: {error}") from error
    if not subject:
        raise NoWords(f"The subject “{source.subject}” comes to nothing.")
    if len(subject) > SUBJECT_LENGTH:
        subject = f"{subject[: SUBJECT_LENGTH - 1].rstrip()}…"
    return subject


# -- several in one ----------------------------------------------------------------------------------------


def bundled(emails: Sequence[Email]) -> Words:
    """Several emails to the same person as one: each under its subject, and one signature. Raises
    `NoWords`."""
    made, sources = Words("", "", ""), Sources()
    for length, whole in [
        *((length, len(emails)) for length in _VALUE_LENGTHS),
        *((_VALUE_LENGTHS[-1], whole) for whole in range(len(emails) - 1, -1, -1)),
    ]:
        made = _together(emails, sources, length, whole)
        if made.size <= LETTER_BYTES:
            break
    return made


def _together(emails: Sequence[Email], sources: Sources, length: int | None, whole: int) -> Words:
    """The first `whole` with all that they say, the rest with their subject and the way to their page."""
    book = Book(length)
    frames = [frame.frame_of(email) for email in emails]
    subjects, sections = [], []
    for number, email in enumerate(emails):
        subject, section = _section(email, _source(email.kind, sources), book, whole=number < whole)
        subjects.append(subject)
        sections += [f"## {book.entered(subject).mark}", section, _insert(number, frames[number])]
    first = emails[0]
    pieces = {str(email.context.get("pieces", "")) for email in emails}
    in_a_line = " · ".join(subjects)
    context = {
        "how_many": _COUNTED[len(emails)] if len(emails) < len(_COUNTED) else str(len(emails)),
        "pieces": pieces.pop() if len(pieces) == 1 else "",
        "subjects": in_a_line if len(in_a_line) <= _LISTED else "",
        "shop_name": first.from_name,
        "name": first.to_name,
    }
    fields = Fields(context, catalogue.about(BUNDLE).parts, book, {"emails": "\n\n".join(sections)})
    source = _source(BUNDLE, sources)
    markdown = _filled(BUNDLE, source, fields)
    around = frame.around_all(frames[0], frames[1:])
    return _letter(markdown, book, around, _subject(source, fields, book), frames)


def _section(email: Email, source: Source, book: Book, *, whole: bool) -> tuple[str, str]:
    fields = _fields(email, book)
    try:
        subject, said = _subject(source, fields, book), _filled(email.kind, source, fields)
    except NoWords:
        if not source.own:
            raise
        source = _shipped(email.kind)
        subject, said = _subject(source, fields, book), _filled(email.kind, source, fields)
    return subject, said if whole else f"[Open your page]({fields['page']})"


# -- one letter --------------------------------------------------------------------------------------------

_INSERT = re.compile("\ue002(\\d+)\ue003")
"""A paragraph in whose place the pictures of a frame stand."""


def _insert(number: int, around: Frame) -> str:
    return f"\ue002{number}\ue003" if around.pictures or around.more else ""


def _letter(markdown: str, book: Book, around: Frame, subject: str, frames: Sequence[Frame]) -> Words:
    """The Markdown with a frame around it, and the pictures of `frames` in their places."""
    about = [subject, *(around.shop[key] for key in _SHOP), "", *(stop.link for stop in around.stops)]
    markdown, body, shown = _set(markdown, book, about)
    lines: list[str] = []
    for line in text_of(body.nodes, shown):
        inserted = _INSERT.fullmatch(line)
        lines += frame.pictures_as_text(frames[int(inserted[1])])[1:] if inserted else [line]
    shown.values[_PREVIEW] = frame.shortened(next((line for line in lines if line), ""))
    page = _page(
        markdown,
        len(shown.values) - len(body.addresses),
        tuple(bool(around.shop[key]) for key in _SHOP),
        tuple((stop.why, stop.press) for stop in around.stops),
        tuple(frame.pictures_as_html(one) for one in frames),
    )
    return Words(subject, frame.as_text(around, lines), shown.shown_in_html(page))


def _set(markdown: str, book: Book, before: Sequence[str]) -> tuple[str, Body, Book]:
    """The Markdown with its marks in order after those of the values `before`, what it comes to, and the
    book of all its values. Raises `NoWords`."""
    markdown, values = book.in_order(markdown, len(before))
    body = typeset.body(markdown, len(before) + len(values))
    shown = Book(values=[*before, *values])
    shown.values += [_address(address, shown) for address in body.addresses]
    return markdown, body, shown


_SHOP = ("name", "phone", "email")
_PREVIEW = 1 + len(_SHOP)


@lru_cache(256)
def _page(
    markdown: str,
    marks: int,
    shop: tuple[bool, ...],
    stops: tuple[tuple[str, str], ...],
    pictures: tuple[str, ...],
) -> str:
    """The HTML of all letters that are built like this one, with marks for what is each one's own."""
    book = Book()
    subject = book.entered("x")
    said = {key: book.entered("x" if there else "") for key, there in zip(_SHOP, shop, strict=True)}
    preview = book.entered("x")
    around = Frame(dict(said), stops=tuple(Stop(*stop, book.entered("x")) for stop in stops))
    html = re.sub(
        f"<p>{_INSERT.pattern}</p>",
        lambda found: pictures[int(found[1])],
        typeset.body(markdown, marks).html,
    )
    return frame.as_html(around, subject, html, preview)


def _address(address: str, book: Book) -> str:
    """A link's address with its values. Raises `NoWords` for one that somebody's data would lead
    elsewhere."""
    if address.startswith(("mailto:", "tel:")):
        return MARK.sub(lambda found: quote(book.values[int(found[1])], safe="@+"), address)
    address = book.shown(address)
    if not links.leads_home(address) or re.search(r"\s", address):
        raise NoWords("A link in the email leads elsewhere than to the shop's own pages.")
    return address
