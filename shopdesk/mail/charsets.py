"""From bytes to letters, whatever charset they claim to be in: the declared one, then UTF-8, then
Windows-1252, and never a letter lost. Encoded words of header fields (RFC 2047, RFC 2231 section 5) as
well."""

from __future__ import annotations

import binascii
import codecs
import re

_WIDER = {
    "ascii": "utf-8",
    "iso8859-1": "cp1252",
    "iso8859-9": "cp1254",
    "iso8859-11": "cp874",
    "tis-620": "cp874",
    "gb2312": "gb18030",
    "gbk": "gb18030",
    "shift_jis": "cp932",
    "euc_kr": "cp949",
    "big5": "cp950",
    "iso2022_jp": "iso2022_jp_ext",
}
"""What is written under a charset's name is mostly the one that contains it (WHATWG Encoding Standard, names
and labels; GB 18030 contains GB 2312)."""
_OTHER_NAMES = {
    "ks_c_5601-1987": "cp949",
    "ks_c_5601": "cp949",
    "x-sjis": "cp932",
    "windows-31j": "cp932",
    "iso-8859-8-i": "iso8859-8",
    "iso-8859-8-e": "iso8859-8",
    "unicode-1-1-utf-7": "utf-7",
    "x-mac-roman": "mac_roman",
    "windows-874": "cp874",
    "x-gbk": "gb18030",
    "utf8mb4": "utf-8",
}
_NO_CHARSETS = {"punycode", "idna", "unicode_escape", "raw-unicode-escape", "undefined", "mbcs", "oem"}
"""Codecs of Python's that are no charset of an email; some take quadratic time."""
_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def text_of(data: bytes, charset: str = "") -> str:
    """The letters of `data`. Never raises; a byte that means nothing becomes what Windows-1252, or failing
    that ISO 8859-1, has in its place."""
    for mark, name in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            charset = name
            break
    declared = _codec(charset)
    if declared.startswith(("utf-16", "utf-32")) and b"\0" not in data and _letters(data) > len(data) * 0.7:
        declared = "utf-8"  # nobody writes that much Latin in it without a single zero byte
    for name in dict.fromkeys((declared, "utf-8")):
        try:
            text = data.decode(name) if name else None
        except (UnicodeError, ValueError):
            continue
        if text is not None:
            return text.removeprefix("\ufeff")
    if declared and declared != "utf-8" and not _one_byte(declared) and _few_are_damaged(data, declared):
        return data.decode(declared, _STRAY)
    if _mostly_utf_8(data):
        return data.decode("utf-8", _STRAY)
    return _windows(data)


def header_text(value: str) -> str:
    """A header field's value with its encoded words read. White space between two of them is not shown (RFC
    2047, section 6.2), and a letter may be cut in two by the end of one, as some programs do."""
    said, at, run, charset = [], 0, b"", ""
    for found in _ENCODED_WORD.finditer(value):
        between = value[at : found.start()]
        at = found.end()
        named = found[1].partition("*")[0].lower()
        if run and (between.strip() or named != charset):
            said.append(text_of(run, charset))
            run = b""
        if (not said and not run) or between.strip():
            said.append(between)
        run, charset = run + _unwrapped(found[3], found[2]), named
    if run:
        said.append(text_of(run, charset))
    return "".join([*said, value[at:]])


_ENCODED_WORD = re.compile(r"=\?([^?\s]{1,60})\?([bBqQ])\?((?:[^?\r\n]|\?(?!=)){0,1000})\?=")


def _unwrapped(said: str, how: str) -> bytes:
    data = said.encode("utf-8", "surrogateescape")
    if how in "qQ":
        return binascii.a2b_qp(data.replace(b" ", b"_"), header=True)
    return base64_bytes(data)


def base64_bytes(data: bytes) -> bytes:
    """What `data` says in base64, as far as it does: other characters are left out (RFC 2045, section 6.8), a
    part that is padded may be followed by the next, and a last lone letter says nothing."""
    if data.find(b"=", 0, len(data.rstrip(b"=\r\n\t "))) < 0:
        return _base64(data)
    return b"".join(_base64(piece.replace(b"=", b"")) for piece in data.split(b"=", _MOST_PIECES))


_MOST_PIECES = 1000


def _base64(data: bytes) -> bytes:
    try:
        return binascii.a2b_base64(data + b"==")
    except binascii.Error:
        kept = re.sub(rb"[^A-Za-z0-9+/]+", b"", data)
        return binascii.a2b_base64(kept[: len(kept) - (len(kept) % 4 == 1)] + b"==")


def _codec(charset: str) -> str:
    """Python's name of it, wider where that is sensible; empty for what is no charset."""
    name = charset.strip("\"' \t\r\n").lower()[:60]
    try:
        known = codecs.lookup(_OTHER_NAMES.get(name, name)).name
        b"a".decode(known)  # a codec from bytes to bytes or from text to text says so
    except UnicodeError:
        pass  # half a letter
    except (LookupError, ValueError):
        return ""
    return "" if known in _NO_CHARSETS else _WIDER.get(known, known)


def _one_byte(codec: str) -> bool:
    return codec.startswith(("cp125", "iso8859", "koi8", "mac")) or codec in (
        "cp437",
        "cp850",
        "cp866",
        "cp874",
    )


def _letters(data: bytes) -> int:
    return len(data) - len(data.translate(None, bytes([9, 10, 13, *range(32, 127)])))


def _few_are_damaged(data: bytes, codec: str) -> bool:
    """A few bytes of a longer text: those alone are read in another way then."""
    return data.decode(codec, "replace").count("\ufffd") * 20 <= len(data)


def _windows(data: bytes) -> str:
    return codecs.charmap_decode(data, "strict", _WINDOWS)[0]


_WINDOWS = "".join(bytes([one]).decode("cp1252", "ignore") or chr(one) for one in range(256))


def _mostly_utf_8(data: bytes) -> bool:
    """Whether more of the bytes outside ASCII are sound UTF-8 than not."""
    sound = len(data.decode("utf-8", "ignore").encode())
    return sound - len(data.translate(None, _HIGH)) > len(data) - sound


_HIGH = bytes(range(128, 256))


def _stray_bytes(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeDecodeError):
        raise error
    stray = error.object[error.start : error.end]
    return _windows(stray), error.end


_STRAY = "shopdesk.stray"
codecs.register_error(_STRAY, _stray_bytes)
