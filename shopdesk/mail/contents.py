"""What an email carries: the words out of its parts (RFC 2046), the pictures, and the names of everything
else."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from shopdesk.mail.entities import Entity
from shopdesk.mail.hypertext import Embedded, lines_of_html, taken_out, without
from shopdesk.mail.lines import Line, lines_of
from shopdesk.mail.pictures import MOST, Part, is_dot, is_mark, may_be_picture, mime_of, named, sized
from shopdesk.mail.quoted import Cut, cut, text_of_lines

TEXT_BYTES = 1_000_000
"""How much text of one email is read; what is beyond is named with what is left out."""

_SIGNATURES = frozenset(
    (
        "application/pgp-signature",
        "application/pkcs7-signature",
        "application/x-pkcs7-signature",
        "application/pgp-keys",
        "application/applefile",
    )
)
_SEALED = frozenset(("application/pkcs7-mime", "application/x-pkcs7-mime"))
_REPORTS = (
    "delivery-status",
    "disposition-notification",
    "feedback-report",
    "rfc822-headers",
    "global-headers",
)
_STUB_LETTERS = 300
_CALENDAR_BYTES = 100_000
_DIVIDED = re.compile(r"ATT[0-9]+\.(txt|html?)", re.ASCII | re.IGNORECASE)
_PARAM = re.compile(r"<(/)?param>", re.IGNORECASE)


@dataclass(frozen=True)
class Contents:
    words: str = ""
    quoted: str = ""
    pictures: tuple[Part, ...] = ()
    left_out: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    """Those of what is left out that are small marks of a layout or a signature."""


def contents_of(mail: Entity) -> Contents:
    """The words, the pictures and what is left out of a message."""
    finds = _Finds()
    finds.visit(mail)
    if not finds.texts and finds.unsaid:
        finds.say_the_first()
    cuts = [_chosen(text) for text in _together(finds.texts)]
    own = frozenset[str]().union(*(one.cids for one in cuts))
    signing = frozenset[str]().union(*(one.signing_cids for one in cuts)) - own
    others = frozenset[str]().union(*(one.others_cids for one in cuts)) - own - signing
    words = "\n\n".join(one.words for one in cuts if one.words)
    quoted = "\n\n".join(one.quoted for one in cuts if one.quoted)
    pictures, left_out = finds.shown(others, signing)
    if not words and (not pictures or any(one.forwarded for one in cuts)):
        # Somebody wrote within what they quote, or passed an email on: nothing is cut then.
        words, quoted = "\n\n".join(filter(None, (_whole(text) for text in _together(finds.texts)))), ""
        pictures, left_out = finds.shown(frozenset(), frozenset())
    forwards, carried = "\n\n".join(finds.forwards), "\n\n".join(finds.carried)
    if not words:
        words, forwards = forwards, ""
    if not words and not pictures:
        words, carried = carried, ""
    quoted = "\n\n".join(filter(None, (quoted, forwards, carried)))
    marks = tuple(name for name in left_out if name in finds.marks)
    return Contents(words, quoted, tuple(pictures), tuple(left_out), marks)


@dataclass
class _Text:
    """One text as plain lines, as lines out of HTML, or as both (multipart/alternative)."""

    plain: list[Line] | None = None
    rich: list[Line] | None = None


def _together(texts: Sequence[_Text]) -> Iterator[_Text]:
    """Plain texts with a picture between them are one text."""
    if texts and all(text.plain is not None and text.rich is None for text in texts):
        lines = [line for text in texts for line in (*(text.plain or ()), Line(""))]
        yield _Text(plain=lines)
    else:
        yield from texts


def _chosen(text: _Text) -> Cut:
    """Of two versions the plain one, where it is as good: HTML knows more surely what is quoted, and some
    programs write no plain text worth the name."""
    if text.rich is None or text.plain is None:
        return cut(text.plain or text.rich or [])
    plain, rich = cut(text.plain), cut(text.rich)
    takes_rich = (
        not (plain.words or plain.quoted)
        or (rich.words and not plain.words)
        or (rich.words and rich.quoted and not plain.quoted)
        or _is_stub(plain, rich)
    )
    if takes_rich and (rich.words or rich.quoted):
        return rich
    return replace(
        plain,
        cids=rich.cids,
        signing_cids=rich.signing_cids,
        others_cids=rich.others_cids,
        forwarded=plain.forwarded or rich.forwarded,
    )


def _is_stub(plain: Cut, rich: Cut) -> bool:
    """ "Your program does not show HTML." """
    letters = len(plain.words) + len(plain.quoted)
    return letters < _STUB_LETTERS and letters * 3 < len(rich.words) + len(rich.quoted)


def _whole(text: _Text) -> str:
    chosen = _chosen(text)
    lines = text.plain or text.rich or []
    if text.rich and text.plain and len(chosen.words + chosen.quoted) > 2 * len(text_of_lines(text.plain)):
        lines = text.rich
    return text_of_lines(lines)


@dataclass
class _Room:
    """How many bytes of text may still be read."""

    left: int = TEXT_BYTES

    def take(self, size: int) -> int:
        """As many of them as there is room for."""
        taken = min(size, self.left)
        self.left -= taken
        return taken


@dataclass
class _Finds:
    room: _Room = field(default_factory=_Room)
    texts: list[_Text] = field(default_factory=list)
    forwards: list[str] = field(default_factory=list)
    """The texts of emails within the email, with their heads."""
    carried: list[str] = field(default_factory=list)
    """Other text that is no part of what somebody says: reports, and what stands around the parts."""
    files: list[tuple[Entity | Embedded, bool]] = field(default_factory=list)
    """What may be a picture, and whether it stands within the text."""
    left_out: list[str] = field(default_factory=list)
    marks: set[str] = field(default_factory=set)
    unsaid: list[tuple[Entity, str]] = field(default_factory=list)
    """Texts that are files by what they say of themselves, and their names among what is left out."""

    def visit(self, entity: Entity) -> None:
        kind, _, subtype = entity.mime.partition("/")
        if entity.unread:
            self.left_out.append(sized("the rest of it, which has too many parts", entity.unread))
        if entity.mime == "multipart/alternative":
            self._alternatives(entity)
        elif entity.mime == "multipart/signed":
            for part in entity.parts[:1]:
                self.visit(part)
            for part in entity.parts[1:]:
                if part.mime not in _SIGNATURES:
                    self.visit(part)
        elif entity.mime == "multipart/encrypted" or entity.mime in _SEALED:
            self.left_out.append(sized("an encrypted message, which cannot be read here", entity.size))
        elif kind == "multipart":
            for part in entity.parts:
                self.visit(part)
            self._around(entity)
        elif entity.parts:
            self._carry(entity.parts[0])
        elif (
            kind == "text" and subtype in ("plain", "html", "enriched", "richtext") and self._is_said(entity)
        ):
            self.texts.append(self._text(entity))
        elif subtype in _REPORTS or subtype.removeprefix("global-") in _REPORTS:
            self.carried.append(text_of_lines(lines_of(self._letters(entity))))
        elif may_be_picture(entity):
            self.files.append((entity, bool(entity.cid) or entity.disposition == "inline"))
        elif entity.mime not in _SIGNATURES:
            size = 0 if _is_empty(entity.body) else entity.size
            if size or entity.filename:
                self.left_out.append(sized(_name(entity), size))
                if entity.mime in ("text/plain", "text/html"):
                    self.unsaid.append((entity, self.left_out[-1]))

    def shown(self, others: frozenset[str], signing: frozenset[str]) -> tuple[list[Part], list[str]]:
        """The pictures worth showing, and the names of everything else, small marks within the text or in a
        signature too. Pictures that stand in what somebody else wrote are neither."""
        pictures: list[Part] = []
        left_out: list[str] = []
        seen: set[bytes] = set()
        for one, within in self.files:
            if one.cid and one.cid in others:
                continue
            data = one.data()
            name = named(one.filename, one.mime)
            if _is_empty(data):
                left_out += [sized(name, 0)] if one.filename else []
                continue
            digest = hashlib.sha256(data).digest()
            if digest in seen or is_dot(data):
                continue
            seen.add(digest)
            mime = mime_of(data)
            signs = bool(one.cid) and one.cid in signing
            mark = (within or signs) and is_mark(data, signing=signs)
            if mime and not mark and len(pictures) < MOST:
                pictures.append(Part(name, mime, data))
                continue
            left_out.append(sized(name, len(data)))
            if mark:
                self.marks.add(left_out[-1])
        return pictures, [*left_out, *self.left_out]

    @staticmethod
    def _is_said(entity: Entity) -> bool:
        """Words to read, not a file: some senders give the words themselves a name, and no disposition; and
        some servers name the second half of a text that they divided."""
        if entity.disposition == "attachment" or not entity.filename:
            return entity.disposition != "attachment"
        return not entity.disposition or _DIVIDED.fullmatch(entity.filename) is not None

    def say_the_first(self) -> None:
        """Nothing else is said: then the first text is what they say, whatever it calls itself."""
        entity, name = self.unsaid[0]
        self.left_out.remove(name)
        self.texts.append(self._text(entity))

    def _text(self, entity: Entity) -> _Text:
        if entity.mime == "text/plain":
            flowed = entity.param("content-type", "format").lower() == "flowed"
            delsp = entity.param("content-type", "delsp").lower() == "yes"
            return _Text(plain=lines_of(self._letters(entity), flowed=flowed, delsp=delsp))
        markup = entity.letters()  # all of it: the pictures that stand in it as data are no text
        if entity.mime != "text/html":  # RFC 1896
            markup = without(markup.replace("<<", "&lt;").replace("\n", "<br>"), _PARAM)
        markup, embedded = taken_out(markup)
        self.files += [(one, True) for one in embedded]
        read = self.room.take(len(markup))
        if read < len(markup):
            self.left_out.append(sized("the rest of the text", len(markup) - read))
        return _Text(rich=lines_of_html(markup[:read]))

    def _letters(self, entity: Entity) -> str:
        size = entity.end - entity.start
        read = self.room.take(size)
        if read < size:
            self.left_out.append(sized("the rest of the text", size - read))
        return entity.letters(read) if read else ""

    def _alternatives(self, entity: Entity) -> None:
        """The same said in several ways (RFC 2046, section 5.1.4): one text, whatever else comes along."""
        inner = _Finds(self.room)
        for part in entity.parts:
            inner.visit(part)
        plain = [line for text in inner.texts if text.rich is None for line in text.plain or ()]
        rich = [line for text in inner.texts for line in text.rich or ()]
        if inner.texts:
            self.texts.append(_Text(plain if plain else None, rich if rich else None))
        self.forwards += inner.forwards
        self.carried += inner.carried
        self.files += inner.files
        self.left_out += inner.left_out
        self.unsaid += inner.unsaid

    def _around(self, entity: Entity) -> None:
        """Words before the first part or behind the last: no program shows them, and somebody may have lost a
        line above them."""
        for text in entity.around:
            said = text_of_lines(lines_of(text.replace("\r\n", "\n").replace("\r", "\n")))
            if said and not (_FOR_OLD_PROGRAMS.search(said) and len(said) < 1000):
                self.carried.append(said)

    def _carry(self, mail: Entity) -> None:
        """An email within the email: its text is kept with the quoted, its pictures are looked at."""
        inner = _Finds(self.room)
        inner.visit(mail)
        head = [
            f"{name.title()}: {mail.text(name)}" for name in ("from", "date", "subject") if mail.get(name)
        ]
        words = [_whole(text) for text in _together(inner.texts)]
        texts = ("\n".join(head), *words, *inner.forwards, *inner.carried)
        self.forwards.append("\n\n".join(filter(None, texts)))
        self.files += inner.files
        self.left_out += inner.left_out


_FOR_OLD_PROGRAMS = re.compile(r"\bmime\b|multi-?part|MIME-encapsulated", re.IGNORECASE)


def _is_empty(data: bytes) -> bool:
    """Whether there is nothing in it but ends of lines."""
    return len(data) < 100 and not data.strip()


def _name(entity: Entity) -> str:
    name = named(entity.filename, entity.mime)
    if entity.mime != "text/calendar":
        return name
    text = entity.letters(_CALENDAR_BYTES)
    name = name if entity.filename else "a calendar entry"
    answer = re.search(r"PARTSTAT=(ACCEPTED|DECLINED|TENTATIVE)", text)
    if re.search(r"^METHOD:REPLY", text, re.MULTILINE) and answer:
        return f"{name} (a calendar's answer: {answer[1].lower()})"
    return name
