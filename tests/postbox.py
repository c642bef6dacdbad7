"""A mail server on loopback that takes everything and keeps it: what the shop really sent, read with the
standard library's parser."""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller


class Postbox:
    """What has arrived, oldest first. Filled by the server's own thread."""

    def __init__(self) -> None:
        self.port = 0
        self.arrived: list[EmailMessage] = []
        self.raw: list[bytes] = []
        self.envelopes: list[tuple[str, list[str]]] = []
        """Sender and recipients of each (RFC 5321)."""

    @property
    def url(self) -> str:
        """For `EMAIL_URL`."""
        return f"smtp://127.0.0.1:{self.port}"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        letter = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(letter, EmailMessage)
        self.arrived.append(letter)
        self.raw.append(envelope.content)
        self.envelopes.append((envelope.mail_from, envelope.rcpt_tos))
        return "250 OK"

    def to(self, address: str) -> list[EmailMessage]:
        return [letter for letter in self.arrived if address in letter["To"]]

    def wait_for(self, address: str, subject: str, *, count: int = 1, seconds: float = 90) -> EmailMessage:
        """The `count`-th email to that address whose subject matches. Fails when it has not come by then."""

        def found() -> list[EmailMessage]:
            return [letter for letter in self.to(address) if re.search(subject, letter["Subject"])]

        assert wait_until(lambda: len(found()) >= count, seconds), (
            f"no email {subject!r} to {address}; there are "
            f"{[(letter['To'], letter['Subject']) for letter in self.arrived]}"
        )
        return found()[count - 1]


def wait_until(is_so: Callable[[], bool], seconds: float) -> bool:
    """Look again and again until it is so (`True`) or the time is over (`False`)."""
    until = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True


def text_of(letter: EmailMessage) -> str:
    part = letter.get_body(("plain",))
    assert part is not None
    return str(part.get_content())


def link_in(letter: EmailMessage) -> str:
    """The client's own link."""
    found = re.search(r"https?://\S+/in/[^\s>)]+", text_of(letter))
    assert found, text_of(letter)
    return found[0]


def enclosed(letter: EmailMessage, mime: str) -> bytes:
    """The bytes of the one part of that type."""
    parts = [part for part in letter.walk() if part.get_content_type() == mime]
    assert len(parts) == 1, [part.get_content_type() for part in letter.walk()]
    data = parts[0].get_payload(decode=True)
    assert isinstance(data, bytes)
    return data


def in_one_thread(letters: list[EmailMessage]) -> None:
    """Each email answers one that went before it, and all begin with the first (RFC 5322, section 3.6.4)."""
    seen: list[str] = []
    for letter in letters:
        assert letter["Message-ID"] not in seen
        if seen:
            references = letter["References"].split()
            assert letter["In-Reply-To"] in seen
            assert references[0] == seen[0]
            assert references[-1] == letter["In-Reply-To"]
            assert set(references) <= set(seen)
        else:
            assert letter["In-Reply-To"] is None
        seen.append(letter["Message-ID"])


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def open_postbox(*, smtputf8: bool = True) -> Iterator[Postbox]:
    """`smtputf8`: whether it takes addresses in any script (RFC 6531)."""
    postbox = Postbox()
    postbox.port = free_port()
    controller = Controller(postbox, hostname="127.0.0.1", port=postbox.port, enable_SMTPUTF8=smtputf8)
    controller.start()
    try:
        yield postbox
    finally:
        controller.stop()
