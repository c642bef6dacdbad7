"""Emails to hear, put together by Python's own `email` or byte by byte."""

from __future__ import annotations

import io
import random
from email.message import EmailMessage
from email.policy import SMTP

from PIL import Image

from shopdesk.mail.heard import Heard, heard

HEAD = (
    b"From: Ottoline Brask <Ottoline@Example.com>\r\nTo: hello@tidewell.example.com\r\nSubject: The desk\r\n"
)


def picture(width: int = 400, height: int = 300, fmt: str = "JPEG", *, seed: int = 1) -> bytes:
    chance = random.Random(seed)
    image = Image.frombytes("RGB", (width, height), chance.randbytes(width * height * 3))
    buffer = io.BytesIO()
    image.save(buffer, fmt)
    return buffer.getvalue()


def letter(text: str = "The darker one.", html: str = "") -> EmailMessage:
    made = EmailMessage(policy=SMTP)
    made["From"] = "Ottoline Brask <ottoline@example.com>"
    made["To"] = "hello@tidewell.example.com"
    made["Subject"] = "The desk"
    made.set_content(text)
    if html:
        made.add_alternative(html, subtype="html")
    return made


def hear(body: bytes, head: bytes = b"") -> Heard:
    return heard(HEAD + head + b"\r\n" + body)
