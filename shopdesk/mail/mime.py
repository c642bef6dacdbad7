"""Writing a message out, the same bytes every time: header fields (RFC 5322; RFC 2047 and RFC 2231 for what
is not ASCII; RFC 6532 where an address needs it), bodies that every server carries (RFC 2045), and parts
within parts (RFC 2046, RFC 2387)."""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
import unicodedata
from collections.abc import Iterable
from email.message import Message
from email.policy import Compat32
from email.utils import quote
from typing import Any, cast
from urllib.parse import quote as percent_encoded

_LINE = 76
"""RFC 2047, section 2, for a line with an encoded word; RFC 5322 wants no more than 78."""
_LONGEST_WORD = 60
_CHUNK = 39
"""Bytes in one encoded word: with what is around them 64 characters, which fit on a line with the name of any
field that has them."""
_PARAMETER = 56
_SPECIALS = re.compile(r'[()<>@,:;".\[\]\\]')
"""What may not stand in a name without quotation marks (RFC 5322, section 3.2.3)."""


class _AsItStands(Compat32):
    """Fields are folded at their spaces and are otherwise written as they are."""

    def fold(self, name: str, value: Any) -> str:
        return f"{folded(name, str(value))}{self.linesep}".replace("\n ", f"{self.linesep} ")

    def fold_binary(self, name: str, value: Any) -> bytes:
        return self.fold(name, value).encode()


_POLICY = _AsItStands(mangle_from_=False)


class Part(Message):
    """A message or a part of one."""

    def __init__(self, content_type: str, *fields: tuple[str, str]) -> None:
        super().__init__(policy=_POLICY)
        self["Content-Type"] = content_type
        for name, value in fields:
            self[name] = value

    def as_bytes(self, unixfrom: bool = False, policy: Any = None, linesep: str = "\n") -> bytes:
        """As Django's mail backends ask for it: what the standard library's generator writes, without its
        going through every line of every picture."""
        return self._written().replace("\n", linesep).encode()

    def _written(self) -> str:
        head = "".join(f"{folded(name, value)}\n" for name, value in self.items())
        payload = self.get_payload()
        if isinstance(payload, str):
            return f"{head}\n{payload}"
        boundary = self.get_boundary()
        parts = "".join(f"--{boundary}\n{part._written()}\n" for part in cast("list[Part]", payload))
        return f"{head}\n{parts}--{boundary}--\n"


def text(words: str, content_type: str, *fields: tuple[str, str]) -> Part:
    """A part of text, in lines of at most 76 ASCII characters: as quoted-printable, or as base64 where that
    is shorter."""
    data = re.sub(r"\r\n?", "\n", words if words.endswith("\n") else f"{words}\n").encode("utf-8", "replace")
    part = Part(f"{content_type}; charset=utf-8", *fields)
    quoted = binascii.b2a_qp(data)
    if len(quoted) <= len(data) * 1.4:
        part["Content-Transfer-Encoding"] = "quoted-printable"
        part.set_payload(quoted.decode("ascii"))
    else:
        _put(part, data.replace(b"\n", b"\r\n"))  # RFC 2045, section 6.8: lines of text end in CRLF
    return part


def data(content: bytes, content_type: str, *fields: tuple[str, str]) -> Part:
    """A part of any bytes."""
    part = Part(content_type, *fields)
    _put(part, content)
    return part


def _put(part: Part, content: bytes) -> None:
    part["Content-Transfer-Encoding"] = "base64"
    part.set_payload(base64.encodebytes(content).decode("ascii"))


def multipart(kind: str, parts: Iterable[Part], mark: str, **parameters: str) -> Part:
    """Parts within one of multipart/`kind`. The boundary comes from `mark` and is the same every time; "=_"
    stands in no quoted-printable and in no base64, so no line of a part looks like it (RFC 2046, 5.1.1)."""
    boundary = f"=_{hashlib.sha256(f'{kind} {mark}'.encode()).hexdigest()[:32]}"
    said = "".join(f'; {name}="{value}"' for name, value in parameters.items())
    made = Part(f'multipart/{kind}{said}; boundary="{boundary}"')
    for part in parts:
        made.attach(part)
    return made


# -- header fields -------------------------------------------------------------------------------------------


def one_line(words: str) -> str:
    """The words without what could begin another line or another field."""
    return " ".join("".join(" " if _breaks(char) else char for char in words).split())


def _breaks(char: str) -> bool:
    return unicodedata.category(char) in ("Cc", "Cs", "Zl", "Zp")


def encoded(words: str) -> str:
    """Words for a field: as they are, or as encoded words of whole characters where they are not ASCII, look
    like encoded words themselves, or have no space to fold at."""
    words = one_line(words)
    plain = words.isascii() and "=?" not in words
    if plain and all(len(word) <= _LONGEST_WORD for word in words.split(" ")):
        return words
    chunks = [b""]
    for char in words:
        octets = char.encode()
        if len(chunks[-1]) + len(octets) > _CHUNK:
            chunks.append(b"")
        chunks[-1] += octets
    return " ".join(f"=?utf-8?b?{base64.b64encode(chunk).decode()}?=" for chunk in chunks)


def mailbox(name: str, address: str) -> str:
    """`Ottoline Brask <ottoline@example.com>`"""
    name = one_line(name)
    if not name:
        return address
    said = encoded(name)
    if said == name and _SPECIALS.search(name):
        said = f'"{quote(name)}"'
    return f"{said} <{address}>"


def disposition(kind: str, filename: str) -> tuple[str, str]:
    """The Content-Disposition field. A name outside ASCII is written in pieces that fit on a line (RFC 2231,
    sections 3 and 4)."""
    filename = re.sub(r'[/\\"]+', "-", re.sub(r"[\x00-\x1f\x7f]+", "-", filename)) or "file"
    if filename.isascii():
        said = [f'filename="{filename}"']
    else:
        first, *others = _pieces(filename)
        said = [f"filename*{'0*' if others else ''}=utf-8''{first}"]
        said += [f"filename*{number}*={piece}" for number, piece in enumerate(others, 1)]
    return "Content-Disposition", "; ".join([kind, *said])


def _pieces(words: str) -> list[str]:
    """The words percent-encoded, in pieces of whole characters."""
    found = [""]
    for char in words:
        octets = percent_encoded(char, safe="", errors="replace")
        if len(found[-1]) + len(octets) > _PARAMETER:
            found.append("")
        found[-1] += octets
    return found


def folded(name: str, value: str) -> str:
    """`name: value`, on lines that are as short as its spaces allow."""
    lines, line = [], f"{name}:"
    for word in re.findall(r" +[^ ]+", f" {value.strip()}"):
        if len(line) + len(word) > _LINE and line[-1] != ":":
            lines.append(line)
            line = ""
        line += word
    return "\n".join([*lines, line])
