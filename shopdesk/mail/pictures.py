"""Which of the files in an email are pictures worth showing. They are looked at no further than their first
bytes: preparing them is the business of whoever takes pictures in."""

from __future__ import annotations

import io
from dataclasses import dataclass

from PIL import Image

from shopdesk.mail.actions import clean_name
from shopdesk.mail.entities import Entity

MOST = 20
_DOT_PIXELS = 3
_MARK_PIXELS = 100
_SIGNING_PIXELS = 400
_ENDINGS = (".jpg", ".jpeg", ".jpe", ".png", ".webp", ".heic", ".heif")
_HEIC = (b"heic", b"heix", b"mif1", b"heim", b"heis")


@dataclass(frozen=True)
class Part:
    """A picture as it came: `mime` is what its bytes are, whatever the email called them."""

    name: str
    mime: str
    data: bytes


def may_be_picture(entity: Entity) -> bool:
    """Whether it says that it is one, by its type or by the end of its name."""
    if entity.mime.startswith("image/"):
        return True
    return entity.mime.startswith("application/") and entity.filename.lower().endswith(_ENDINGS)


def mime_of(data: bytes) -> str:
    """The media type of a picture that we can prepare, from how its bytes begin; empty for all others."""
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return "image/heic" if data[4:8] == b"ftyp" and data[8:12] in _HEIC else ""


def is_dot(data: bytes) -> bool:
    """A dot that tells a sender that the email was opened, or a line that holds a table apart."""
    return _shorter_side(data) <= _DOT_PIXELS


def is_mark(data: bytes, *, signing: bool) -> bool:
    """As small as the marks that stand in a text, or in a signature: a firm's, a portrait. It goes by the
    shorter side; how many bytes it has says nothing, for a plain wall takes few."""
    return _shorter_side(data) < (_SIGNING_PIXELS if signing else _MARK_PIXELS)


def _shorter_side(data: bytes) -> int:
    try:
        with Image.open(io.BytesIO(data)) as image:  # reads the head, decodes nothing
            return min(image.size)
    except Exception:  # noqa: BLE001  whatever it is, it says no size
        return _SIGNING_PIXELS


def named(name: str, mime: str = "") -> str:
    """A file's name without folders, or what it is where it has none."""
    return clean_name(name.replace("\\", "/").rpartition("/")[2]) or f"a file without a name ({mime[:80]})"


def sized(name: str, size: int) -> str:
    """`plan.pdf, 1.2 MB`"""
    if not size:
        return f"{name}, empty"
    if size < 1000:
        return f"{name}, {size} bytes"
    return f"{name}, {size / 1e6:.1f} MB" if size >= 999_500 else f"{name}, {max(1, round(size / 1e3))} kB"
