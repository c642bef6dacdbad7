"""The address that answers to an email go to, with a mark of the conversation that nobody can make up.

`hello+c12.7kq2…@shop.example.com` is `INBOX_ADDRESS` with the thread "commission 12" and its seal in place of
`{tag}`: the first 80 bits of an HMAC under the shop's secret key, the least that RFC 2104, section 5, wants
left of one. They are written in base32 (RFC 4648, section 6) and small letters, since a local part loses its
capitals on some ways, and may have 64 octets in all (RFC 5321, section 4.5.3.1.1)."""

from __future__ import annotations

import base64
import hashlib
import hmac
import re

from django.conf import settings
from django.utils.encoding import punycode

_BITS = 80
_OWNERS = {"c": "", "s": " shop"}
"""Whose thread a tag names: the client's, or the one with the shop's owner."""
_THREAD = re.compile(r"commission ([1-9][0-9]{0,17})( shop)?", re.ASCII)
_TAG = re.compile(r"([cs])([1-9][0-9]{0,17})\.(.*)", re.ASCII | re.DOTALL)


class Forged(Exception):
    """A tag of our own shape with a seal that is not ours."""


def reply_address(thread: str) -> str:
    """The address for answers to emails of a thread ("commission 12", "commission 12 shop"). Empty for any
    other thread, and where `INBOX_ADDRESS` has no place for a tag."""
    of = _THREAD.fullmatch(thread)
    if of is None or "{tag}" not in settings.INBOX_ADDRESS:
        return ""
    owner = "s" if of[2] else "c"
    return str(settings.INBOX_ADDRESS).replace("{tag}", f"{owner}{of[1]}.{_seal(thread)}")


def thread_of(address: str) -> str | None:
    """The thread that a recipient's address names; `None` when it holds no tag. Raises `Forged` for a tag
    whose seal is wrong."""
    before, found, after = str(settings.INBOX_ADDRESS).partition("{tag}")
    local, at, domain = _plain(address)
    start, (end, _, home) = before.lower(), _plain(after)
    if not found or not at or domain != home or len(local) < len(start) + len(end):
        return None
    if not local.startswith(start) or not local.endswith(end):
        return None
    tag = _TAG.fullmatch(local[len(start) : len(local) - len(end)])
    if tag is None:
        return None
    thread = f"commission {tag[2]}{_OWNERS[tag[1]]}"
    if not hmac.compare_digest(_seal(thread).encode(), tag[3].encode("utf-8", "replace")):
        raise Forged(address)
    return thread


def _plain(address: str) -> tuple[str, str, str]:
    """Local part, "@" and domain in small letters, a domain of other letters as mail servers write it."""
    local, at, domain = address.strip().lower().rpartition("@")
    try:
        return local, at, punycode(domain)
    except UnicodeError:  # no domain that there could be
        return local, at, domain


def _seal(thread: str) -> str:
    digest = hmac.new(
        settings.SECRET_KEY.encode(), f"shopdesk answers to {thread}".encode(), hashlib.sha256
    ).digest()
    return base64.b32encode(digest[: _BITS // 8]).decode().lower()
