"""Looking at bytes that somebody sent and saying whether they are a picture that we take. Decoded, never
trusted."""

from __future__ import annotations

import io
import re
import struct
import threading
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager

from pi_heif import HeifImageFile
from pi_heif.as_plugin import _is_supported_heif
from PIL import Image, ImageFile, UnidentifiedImageError

MOST_BYTES = 30 * 1024 * 1024
MOST_PIXELS = 50_000_000
MOST_SCANS = 64
"""Passes over a JPEG. Cameras and editors write about ten at most; each one costs a decoding of the whole
picture."""

FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
"""Pillow's names. A phone's MPO (a JPEG that carries more of them) is opened as the JPEG that it begins
with."""
ENDINGS = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp", "HEIF": "heic"}
MIMES = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp", "heic": "image/heic"}

Image.register_open("HEIF", HeifImageFile, _is_supported_heif)  # reading only

_BROKEN = (
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    EOFError,
    IndexError,
    KeyError,
    OverflowError,
    AttributeError,
    RuntimeError,
    struct.error,
    zlib.error,
)
"""What Pillow and its decoders raise at bytes that are not what they say. Only bytes in memory are decoded,
so an `OSError` is never the disk's."""

# A second nature is looked for where the programs that would open it look: a PDF's or an archive's beginning,
# an archive's list at the end, a page or a script among the first and the last of the bytes. What phones add
# behind a picture (smaller pictures, Samsung's trailer, the film of a moving picture) is none of these and
# goes through; the renditions never carry it.
_SCRIPTS = re.compile(rb"<\?php\s|<(?:script|html|svg|iframe|body)[\s>]|<!doctype\s", re.IGNORECASE)
_ISPE = re.compile(rb"\x00\x00\x00\x14ispe\x00{4}(.{8})", re.DOTALL)
_ARCHIVES = (b"Rar!\x1a\x07", b"7z\xbc\xaf\x27\x1c")
_EDGE = 64 * 1024
_MOST_SEGMENTS = 5000
_MARKER = re.compile(rb"\xff([^\x00\xff\xd0-\xd7])")
_one_at_a_time = threading.Lock()
"""A decoded picture is large: people who send at once wait for each other instead of sharing out the
memory."""


class NotAPicture(Exception):
    """None of the formats that we take."""


class TooManyPixels(Exception):
    """Above `MOST_PIXELS` by its header. Nothing of it was decoded."""


class Damaged(Exception):
    """A picture by its beginning, but it cannot be decoded to the end."""


class TwoNatured(Exception):
    """A picture that is also something else which a program would open."""


def judge(data: bytes) -> tuple[str, int, int]:
    """The format ("JPEG", "PNG", "WEBP", "HEIF") and the width and height, turned upright, of a picture that
    decodes to its end. Raises one of the four above."""
    with _one_at_a_time, opened(data) as image:
        if _is_also_something_else(data):
            raise TwoNatured
        name = "JPEG" if image.format == "MPO" else image.format or ""
        width, height = image.size
        # A JPEG is decoded at an eighth: that reads all of it, and so sees where it is cut off, in a third of
        # the time.
        image.draft(image.mode, (max(width // 8, 1), max(height // 8, 1)))
        load(image)
        turned = orientation(image) in (5, 6, 7, 8)
    return (name, height, width) if turned else (name, width, height)


@contextmanager
def opened(data: bytes) -> Iterator[Image.Image]:
    """The picture, opened but not decoded. Raises `NotAPicture`, `TooManyPixels`, or `Damaged` for a header
    that makes no sense."""
    # Before opening: Pillow makes room for a WebP's canvas then, and shows a HEIC's size as it is after
    # cropping.
    if any(width * height > MOST_PIXELS for width, height in _stated_sizes(data)):
        raise TooManyPixels
    if _scans(data) > MOST_SCANS:
        raise Damaged("It has too many scans.")
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as error:
        raise TooManyPixels from error
    except UnidentifiedImageError as error:
        raise (Damaged if _begins_like_a_picture(data) else NotAPicture) from error
    except _BROKEN as error:
        raise Damaged(str(error)) from error
    with image:
        if image.width * image.height > MOST_PIXELS:
            raise TooManyPixels
        if image.width < 1 or image.height < 1:
            raise Damaged("It has no size.")
        yield image


def load(image: Image.Image) -> None:
    """Decode the (first) picture. Raises `Damaged` when it is cut off or broken, `TooManyPixels` when the
    header lied."""
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # WeasyPrint, in the same process, switches it on for everybody
    try:
        image.load()
    except Image.DecompressionBombError as error:
        raise TooManyPixels from error
    except _BROKEN as error:
        raise Damaged(str(error)) from error
    if image.width * image.height > MOST_PIXELS:
        raise TooManyPixels


def orientation(image: Image.Image) -> int:
    """How the camera was held, 1 to 8 (Exif 2.3, tag 0x0112); 1, upright, where the picture does not say or
    says nonsense."""
    try:
        value = image.getexif().get(0x0112, 1)
    except _BROKEN:
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _begins_like_a_picture(data: bytes) -> bool:
    return (
        data.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"))
        or (data[:4] == b"RIFF" and data[8:12] == b"WEBP")
        or (data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"heim", b"heis"))
    )


def _stated_sizes(data: bytes) -> list[tuple[int, int]]:
    """Every width and height that the headers of a WebP (RFC 9649, sections 2.5 to 2.7) or of a HEIC (`ispe`,
    ISO/IEC 23008-12, 6.5.3) state."""
    if data[4:8] == b"ftyp":
        return [struct.unpack(">II", found[1]) for found in _ISPE.finditer(data)]
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP" or len(data) < 30:
        return []
    kind = data[12:16]
    if kind == b"VP8X":
        return [(int.from_bytes(data[24:27], "little") + 1, int.from_bytes(data[27:30], "little") + 1)]
    if kind == b"VP8L":
        bits = int.from_bytes(data[21:25], "little")
        return [((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)]
    width, height = struct.unpack_from("<HH", data, 26)
    return [(width & 0x3FFF, height & 0x3FFF)] if kind == b"VP8 " else []


def _scans(data: bytes) -> int:
    """How many scans a JPEG has up to its end (ITU-T T.81, annex B), counted no further than is too many.
    What stands within other segments, or behind the picture, is none."""
    count, at = 0, 2
    if not data.startswith(b"\xff\xd8"):
        return 0
    for _ in range(_MOST_SEGMENTS):
        found = _MARKER.search(data, at)
        if found is None or found[1] == b"\xd9" or count > MOST_SCANS:
            return count
        count += found[1] == b"\xda"
        at = found.end() + max(int.from_bytes(data[found.end() : found.end() + 2], "big"), 2)
    return MOST_SCANS + 1


def _is_also_something_else(data: bytes) -> bool:
    if b"%PDF-" in data[:1024] or any(mark in data for mark in _ARCHIVES):
        return True
    if _SCRIPTS.search(data[:_EDGE]) or _SCRIPTS.search(data[-_EDGE:]):
        return True
    return zipfile.is_zipfile(io.BytesIO(data))  # its end record alone: a list of entries can be endless
