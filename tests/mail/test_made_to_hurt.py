"""Emails that are made to keep a worker busy: each of them took minutes, or longer than any lease, when every
place in it began a search through all the rest."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from dataclasses import fields
from types import FrameType

import pytest

from shopdesk.mail import quoted
from shopdesk.mail.heard import heard
from shopdesk.mail.lines import Line

_SECONDS = 12
"""Far more than they take now, on a machine that has other things to do; far less than they took."""


@pytest.fixture(autouse=True)
def in_time() -> Iterator[None]:
    def over(_number: int, _frame: FrameType | None) -> None:
        pytest.fail(f"It took longer than {_SECONDS} seconds.")

    before = signal.signal(signal.SIGALRM, over)
    signal.alarm(_SECONDS)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def _of(mime: str, body: bytes, *more: str) -> bytes:
    head = "\n".join(["From: o@example.com", f"Content-Type: {mime}", *more])
    return head.encode() + b"\n\n" + body


def test_base64_with_lines_of_a_hundred_thousand_letters() -> None:
    line = b"A" * 150_000
    said = heard(_of("text/plain", line + b"!" + line + b"!", "Content-Transfer-Encoding: base64"))
    assert len(said.words) == 100_000


def test_styles_that_never_close_deep_within_elements() -> None:
    said = heard(_of("text/html", b"<div>" * 3000 + b"<style>" * 50_000 + b"Seen"))
    assert said.words == "Seen"


def test_parameters_that_never_close() -> None:
    said = heard(_of("text/enriched", b"<param>" * 50_000 + b"Seen"))
    assert said.words == "Seen"


def test_what_closes_is_left_out_once() -> None:
    html = b"<div>" * 3000 + b"One<style>a</style>Two<title>b<script>c</script>Three</title>Four"
    assert heard(_of("text/html", html)).words.split() == ["OneTwoThree", "Four"]
    rich = b"<color><param>red</param>Two</color> <param>x</PARAM>words</param>"
    assert heard(_of("text/enriched", rich)).words == "Two words"


def test_links_within_links() -> None:
    html = b"<a href=http://x.example.com/><div>" * 800 + b"word " * 150_000
    assert heard(_of("text/html", html)).words.startswith("word word")


def test_boundaries_that_never_come_again() -> None:
    body = b"".join(b"--%07d\ncontent-\n" % number for number in range(14_000)) + b"x" * 20_000_000
    assert heard(_of("multipart/mixed", body)).left_out


def test_signatures_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(quoted, "_MOST", 20_000)
    cut = quoted.cut([Line("--")] * 20_000)
    assert cut.words.count("--") == 20_000 - cut.quoted.count("--")


def test_no_zero_byte_of_a_head_gets_through() -> None:
    """PostgreSQL takes none (its manual, section 8.3)."""
    said = heard(
        b"From: o@example.com\nReferences: <a\0@example.com>\nIn-Reply-To: <\0b@example.com>\n"
        b"Message-ID: <c\0@example.com>\nAuto-Submitted: auto\0-replied\n\nHi"
    )
    assert said.references == ("<a@example.com>",)
    assert said.in_reply_to == ("<b@example.com>",)
    assert not [
        one.name
        for one in fields(said)
        if "\0" in str(getattr(said, one.name)) or "\\x00" in repr(getattr(said, one.name))
    ]
