"""The parts of an email (RFC 5322, RFC 2045 and 2046) as views of its bytes: nothing is copied before
somebody asks for it.

Python's own parser makes an object of every part and looks at every line once for each level of nesting: a 25
MB email made to hurt takes it gigabytes, or minutes. This one reads the same parts with bounds, and leaves
parameters (RFC 2231), addresses and dates to Python's."""

from __future__ import annotations

import binascii
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import Message
from itertools import islice

from shopdesk.mail.charsets import base64_bytes, header_text, text_of

MOST_PARTS = 400
DEEPEST = 16
HEAD_BYTES = 256 * 1024
MOST_FIELDS = 2000
FIELD_CHARS = 32 * 1024
"""What is longer is cut off: nobody's name is, and reading it takes quadratic time in places."""
_PARAMETERS = 4000
_MOST_TRIES = 20_000
_MOST_GUESSES = 20
_MOST_LINES = 1_000_000

_FIELD = re.compile(rb"([!-9;-~]{1,200})[ \t]*:")
_META_CHARSET = re.compile(rb"<meta\b[^>]{0,200}\bcharset\s*=\s*[\"']?([\w.:-]{1,40})", re.IGNORECASE)
_LINE_END = re.compile(rb"\r\n|\n|\r")


@dataclass
class Entity:
    """A message or a part of one: its header fields in order, decoded to letters but with encoded words as
    they are, and where its body stands in `raw`."""

    raw: bytes
    fields: list[tuple[str, str]]
    start: int
    end: int
    mime: str = "text/plain"
    parts: list[Entity] = field(default_factory=list)
    around: list[str] = field(default_factory=list)
    """Of a multipart: what stands before the first part and behind the last (RFC 2046, section 5.1.1)."""
    unread: int = 0
    """Bytes that were not taken apart, because there is too much in it."""

    def get(self, name: str) -> str:
        """The first field of that name, unfolded; empty when there is none."""
        return next(iter(self.all(name)), "")

    def all(self, name: str) -> list[str]:
        wanted = name.lower()
        return [value for key, value in self.fields if key == wanted]

    def text(self, name: str) -> str:
        return header_text(self.get(name))

    def param(self, header: str, name: str) -> str:
        """A parameter, with RFC 2231 and (which is wrong and common) RFC 2047 read."""
        made = Message()
        made[header] = self.get(header)[:_PARAMETERS]
        try:
            value = made.get_param(name, "", header)
        except Exception:  # noqa: BLE001  Python's reader stumbles over some of what RFC 2231 forbids
            return ""
        if isinstance(value, tuple):
            charset, _, said = value
            return text_of(said.encode("latin-1", "replace"), charset or "")
        return header_text(str(value)).strip()

    @property
    def filename(self) -> str:
        return self.param("content-disposition", "filename") or self.param("content-type", "name")

    @property
    def disposition(self) -> str:
        return self.get("content-disposition").partition(";")[0].strip().lower()

    @property
    def cid(self) -> str:
        return self.get("content-id").strip().strip("<>")

    @property
    def body(self) -> bytes:
        """As it was sent, transfer encoding and all."""
        return self.raw[self.start : self.end]

    @property
    def size(self) -> int:
        """About how many bytes it carries, without decoding it."""
        return (self.end - self.start) * 3 // 4 if self._encoding() == "base64" else self.end - self.start

    def data(self) -> bytes:
        """Its body, decoded as far as that is possible."""
        return self._decoded(self.body)

    def letters(self, most: int = 0) -> str:
        """Its body as text, lines ending in a line feed; no more than about the first `most` bytes of it."""
        body = self.body
        if most and len(body) > most:
            body = body[: body.rfind(b"\n", 0, most) + 1 or most]
        charset = self.param("content-type", "charset")
        if not charset and self.mime == "text/html" and (named := _META_CHARSET.search(body, 0, 4096)):
            charset = named[1].decode("ascii")
        if self._encoding() == "base64":
            text = _text_from_base64(body, charset)
        else:
            text = text_of(self._decoded(body), charset)
        return text.replace("\r\n", "\n").replace("\r", "\n")

    def _decoded(self, body: bytes) -> bytes:
        match self._encoding():
            case "base64":
                return base64_bytes(body)
            case "quoted-printable":
                return binascii.a2b_qp(body)
            case "x-uuencode" | "uuencode" | "uue" | "x-uue":
                return _uudecoded(body)
            case _:
                return body

    def walk(self, *, within: bool = True) -> Iterator[Entity]:
        """Itself and its parts, in order; `within` other messages too."""
        yield self
        if within or not self.mime.startswith("message/"):
            for part in self.parts:
                yield from part.walk(within=within)

    def _encoding(self) -> str:
        return self.get("content-transfer-encoding").strip("\"' \t;").lower()


def read(raw: bytes) -> Entity:
    """The message that the bytes are. Never raises."""
    if b"\n" not in raw:
        raw = raw.replace(b"\r", b"\n")
    start = len(raw) - len(raw.lstrip(b"\xef\xbb\xbf\r\n"))
    return _Reader(raw).entity(start, len(raw), 0, "text/plain")


@dataclass
class _Reader:
    raw: bytes
    count: int = 0

    def entity(self, start: int, end: int, depth: int, default: str) -> Entity:
        self.count += 1
        fields, body = head(self.raw, start, end)
        made = Entity(self.raw, fields, body, end)
        made.mime = _mime(made.get("content-type"), default)
        kind = made.mime.partition("/")[0]
        if kind not in ("multipart", "message") or depth >= DEEPEST or self.count >= MOST_PARTS:
            if kind == "multipart":
                made.unread = end - body
            return made
        if kind == "multipart":
            self._take_apart(made, depth)
        elif made.mime in ("message/rfc822", "message/global", "message/news"):
            reader = self
            if made._encoding() in ("base64", "quoted-printable"):  # forbidden (RFC 2046, 5.2.1), and done
                reader = _Reader(made.data(), self.count)
                made.parts = [reader.entity(0, len(reader.raw), depth + 1, "text/plain")]
                self.count = reader.count
            else:
                made.parts = [self.entity(body, end, depth + 1, "text/plain")]
        return made

    def _take_apart(self, whole: Entity, depth: int) -> None:
        boundary = whole.param("content-type", "boundary").rstrip().encode("utf-8", "surrogateescape")
        seams, closed = self._seams(whole, boundary) if boundary else ([], None)
        if not seams:
            seams, closed = self._seams(whole, self._guess(whole))
        if not seams:
            whole.mime = "text/plain"
            return
        inside = "message/rfc822" if whole.mime == "multipart/digest" else "text/plain"
        last = closed[0] if closed else whole.end
        ends = [*(seam for seam, _ in seams[1:]), last]
        for (_, begins), ends_at in zip(seams, ends, strict=True):
            if self.count >= MOST_PARTS:
                whole.unread = whole.end - begins
                return
            whole.parts.append(self.entity(begins, max(begins, ends_at), depth + 1, inside))
        after = self.raw[closed[1] : whole.end] if closed else b""
        whole.around = [
            text_of(self.raw[whole.start : seams[0][0]][:HEAD_BYTES]),
            text_of(after[:HEAD_BYTES]),
        ]

    def _seams(self, whole: Entity, boundary: bytes) -> tuple[list[tuple[int, int]], tuple[int, int] | None]:
        """Where each part's seam begins (the line end before a boundary is part of it) and ends; the same of
        the closing one. A line that begins with the boundary and goes on is none."""
        mark, at, tries = b"--" + boundary, whole.start, 0
        seams: list[tuple[int, int]] = []
        while boundary and len(seams) <= MOST_PARTS and tries < _MOST_TRIES:
            found = self.raw.find(mark, at, whole.end)
            if found < 0:
                break
            at, tries = found + len(mark), tries + 1
            if found > whole.start and self.raw[found - 1] not in b"\r\n":
                continue
            closing = self.raw[at : at + 2] == b"--" and at + 2 <= whole.end
            end = at + 2 * closing
            while end < whole.end and self.raw[end] in b" \t":
                end += 1
            line_end = _LINE_END.match(self.raw, end, whole.end)
            if line_end is None and end < whole.end:
                continue
            begins = found
            if begins > whole.start and self.raw[begins - 1] == 10:
                begins -= 1
            if begins > whole.start and self.raw[begins - 1] == 13:
                begins -= 1
            seam = (begins, line_end.end() if line_end else end)
            if closing:
                return seams, seam if seams else None
            seams.append(seam)
            at = max(at, seam[1])
        return seams, None

    def _guess(self, whole: Entity) -> bytes:
        """The boundary of a multipart that does not name it: its first line that looks like one and comes
        again."""
        like = _LIKE_A_BOUNDARY.finditer(self.raw, whole.start, min(whole.end, whole.start + HEAD_BYTES))
        for found in islice(like, _MOST_GUESSES):  # each is looked for in all that follows
            if self.raw.find(b"\n--" + found[1], found.end(), whole.end) >= 0:
                return found[1]
        return b""


_LIKE_A_BOUNDARY = re.compile(rb"^--([!-~]{2,70})[ \t]*(?=\r?\n[Cc]ontent-)", re.MULTILINE)
_HEAD_ENDS = re.compile(rb"\n\r?\n|\r\r")


def head(raw: bytes, start: int, end: int) -> tuple[list[tuple[str, str]], int]:
    """The header fields from `start` on, and where the body begins: behind the first empty line, or at the
    first line that is no field."""
    fields: list[tuple[str, bytearray]] = []
    at = start
    while at < end:
        if at - start > HEAD_BYTES or len(fields) > MOST_FIELDS:
            closing = _HEAD_ENDS.search(raw, at, end)
            return _unfolded(fields), closing.end() if closing else end
        found = _LINE_END.search(raw, at, end)
        stop, following = (found.start(), found.end()) if found else (end, end)
        if stop == at:
            return _unfolded(fields), following
        name = _FIELD.match(raw, at, min(stop, at + 400))
        if name is None:
            folded = raw[at] in b" \t" and bool(fields)
            if not folded and not (at == start and raw.startswith((b"From ", b">From "), at)):
                return _unfolded(fields), at
            if folded and len(fields[-1][1]) < FIELD_CHARS:
                fields[-1][1].extend(raw[at : min(stop, at + FIELD_CHARS)])
        else:
            value = raw[name.end() : min(stop, name.end() + FIELD_CHARS)]
            fields.append((name[1].decode("ascii").lower(), bytearray(value)))
        at = following
    return _unfolded(fields), end


def _unfolded(fields: list[tuple[str, bytearray]]) -> list[tuple[str, str]]:
    return [(name, text_of(bytes(value[:FIELD_CHARS])).replace("\0", "").strip()) for name, value in fields]


def _mime(value: str, default: str) -> str:
    """RFC 2045, section 5.2: without a type, or with one that cannot be read, it is plain text."""
    said = value.partition(";")[0].strip().lower()
    if not said:
        return default
    return said if re.fullmatch(r"[!-~]+/[!-~]+", said) and said.count("/") == 1 else "text/plain"


def _text_from_base64(body: bytes, charset: str) -> str:
    """Text that says it is base64. What is not, from some line on (a footer that a list added, or all of it),
    is read as it stands."""
    at = 0
    while at < len(body) and (found := _BASE64_LINE.match(body, at)):  # and looked for nowhere else
        at = found.end()
    coded, rest = base64_bytes(body[:at]), body[at:]
    if rest.strip() and _CONTROLS.search(coded):
        coded, rest = b"", body
    return text_of(coded, charset) + (text_of(rest, charset) if rest.strip() else "")


_CONTROLS = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]|[\x80-\xff](?![\x80-\xff])(?<![\x80-\xff].)")
"""What decoding plain words as if they were base64 brings forth."""
_BASE64_LINE = re.compile(
    rb"[ \t]*(?:[A-Za-z0-9+/=]*|[A-Za-z0-9+/=]{40,}[^\sA-Za-z0-9+/=][A-Za-z0-9+/=]*)[ \t]*(?:\r\n|\n|\r|\Z)"
)


def _uudecoded(body: bytes) -> bytes:
    made = bytearray()
    begun = False
    for line in body.split(b"\n", _MOST_LINES):
        if not begun:
            begun = line.startswith(b"begin ")
        elif line.strip() == b"end":
            break
        else:
            line = line.rstrip(b"\r")
            try:
                made += binascii.a2b_uu(line)
            except binascii.Error:  # too long by what some encoders add
                size = (((line[0] - 32) & 63) * 4 + 5) // 3 if line else 0
                try:
                    made += binascii.a2b_uu(line[:size])
                except binascii.Error:
                    break
    return bytes(made) if begun else body
