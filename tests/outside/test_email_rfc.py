"""Our emails against the standards of email, read by Python's own `email` package (policy "default", which is
strict about structure) and by rules written out here from the documents:

- RFC 5322 (Internet Message Format): 2.1.1 line lengths, 2.2 header fields, 3.4 addresses, 3.6 which fields
  how often, 3.6.4 identification fields.
- RFC 2047 (non-ASCII in header fields): 2, an encoded word has at most 75 characters, a line with one at most
  76; 6.2, white space between two encoded words is not shown.
- RFC 2045 to 2046 (MIME): structure of multipart/mixed and multipart/alternative, transfer encodings.
- RFC 2231 (parameters outside ASCII): 3 and 4, names of files; RFC 2183: which parts are attachments.
- RFC 2387 (multipart/related): 3.1, its type; RFC 2392 (cid addresses): 2, each names a part.
- RFC 3834 (automatic responses): 5, `Auto-Submitted: auto-generated`.
- RFC 6047 (iMIP): 2.4, the method parameter of text/calendar is the METHOD of the object in it.
- RFC 5724 (sms URIs): 2.2, `sms:` number `?body=`.
"""

from __future__ import annotations

import email
import email.policy
import io
import re
from datetime import datetime
from email.generator import BytesGenerator
from email.header import decode_header, make_header
from email.message import EmailMessage
from email.utils import collapse_rfc2231_value, parseaddr
from typing import Any
from urllib.parse import unquote

import icalendar
import pytest
from django.db import transaction
from django.utils import timezone
from lxml import html as lxml_html
from PIL import Image

from shopdesk.base import blobs
from shopdesk.desk.emails import things_to_tell
from shopdesk.mail import catalogue, links
from shopdesk.mail.actions import Enclose, Person, write
from shopdesk.mail.message import message
from shopdesk.mail.models import Email
from shopdesk.mail.words import words

pytestmark = pytest.mark.django_db

ICS = "\r\n".join(
    [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Tidewell//EN",
        "METHOD:REQUEST",
        "BEGIN:VEVENT",
        "UID:1@tidewell.example.com",
        "DTSTAMP:20261125T120000Z",
        "DTSTART:20261203T140000Z",
        "SUMMARY:Abholung: Käfer & Söhne",
        "END:VEVENT",
        "END:VCALENDAR",
        "",
    ]
)
NAMES = [
    "Ottoline Brask",
    'Brask, Ottoline (the elder) <x@y> "quoted" \\ back',
    "Żółć Ḥasan 王小明",
    "Константин Константинопольский-Заозёрный из Владивостока и его многочисленные родственники",
    "🪑🪵",
    "Ann\r\nBcc: everybody@example.com\r\n\r\n<script>",
    "x" * 400,
    "",
]


def made(
    name: str, words_given: str, *, enclose: Any = (), thread: str = "commission 1", letters: int = 1
) -> bytes:
    for _ in range(letters):
        with transaction.atomic():
            row = write(
                "progress",
                to=Person(name, "ottoline@example.com"),
                sender=Person(f"{name} & Söhne", "hello@tidewell.example.com"),
                context={
                    "pieces": name,
                    "items": [{"text": words_given}],
                    "page": "shopdesk-link:desk/desk/",
                },
                thread="commission 1",
                enclose=enclose,
            )
    return raw_of(row)


def raw_of(row: Email) -> bytes:
    said = words(row)
    row.subject, row.text, row.html = said.subject, said.text, said.html
    row.worded_at = timezone.now().replace(microsecond=0)
    raw = io.BytesIO()
    BytesGenerator(raw, mangle_from_=False).flatten(message(row).message(), linesep="\r\n")
    return raw.getvalue()


def decoded(value: str) -> str:
    return str(make_header(decode_header(value)))


def row_subject() -> str:
    """What the newest email says it is about."""
    return words(Email.objects.latest("id")).subject


def read(raw: bytes) -> EmailMessage:
    parsed = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(parsed, EmailMessage)
    for part in parsed.walk():
        assert not part.defects
        for value in part.values():
            assert not getattr(value, "defects", ()), value
    return parsed


@pytest.mark.parametrize("name", NAMES)
def test_whoever_it_is_to_the_message_is_well_formed(name: str) -> None:
    raw = made(name, "Good day.\nIs it walnut?", letters=3)
    parsed = read(raw)
    head = raw.split(b"\r\n\r\n", 1)[0]
    # RFC 5322, 3.6: these once each, and no field that nobody meant.
    fields = [field.lower() for field in parsed]
    once = ["subject", "from", "to", "reply-to", "date", "message-id", "in-reply-to", "references"]
    assert sorted(fields) == sorted([*once, "auto-submitted", "mime-version", "content-type"])
    assert head.isascii()
    assert [str(one.addr_spec) for one in parsed["To"].addresses] == ["ottoline@example.com"]
    for field in ("From", "Reply-To"):
        assert [str(one.addr_spec) for one in parsed[field].addresses] == ["hello@tidewell.example.com"]
    shown = " ".join("".join(" " if char in "\r\n" else char for char in name).split())[:100]
    # By the older decoder: that of policy "default" shows the space between two encoded words of a name.
    plain = email.message_from_bytes(raw)
    unfolded = {
        field: re.sub(r"\r\n(?=[ \t])", "", plain[field]).strip() for field in ("To", "From", "Subject")
    }
    assert decoded(parseaddr(unfolded["To"])[0]) == shown
    assert decoded(parseaddr(unfolded["From"])[0]) == f"{shown} & Söhne"[:100].strip()
    assert decoded(unfolded["Subject"]) == row_subject()


@pytest.mark.parametrize("name", NAMES)
def test_lines_are_as_short_as_they_have_to_be(name: str) -> None:
    raw = made(name, f"{'long ' * 900}\n{'y' * 3000}\n" + "🪑" * 700, letters=14)
    for line in raw.split(b"\r\n"):
        assert len(line) <= 998  # RFC 5322, 2.1.1
        assert b"\r" not in line
        assert b"\n" not in line
    head = raw.split(b"\r\n\r\n", 1)[0]
    for word in re.findall(rb"=\?[^?\s]+\?[bqBQ]\?[^?\s]*\?=", head):
        assert len(word) <= 75, word  # RFC 2047, 2
    for line in head.split(b"\r\n"):
        assert b"=?" not in line or len(line) <= 76, line
    read(raw)


def test_threads_are_named_as_the_standard_says() -> None:
    """RFC 5322, 3.6.4: msg-id is <id-left@id-right>; the parent is the last of References."""
    parsed = read(made("Ottoline", "x", letters=16))
    ids = parsed["References"].split()
    shape = re.compile(r"<[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]+@[A-Za-z0-9.-]+>")
    assert all(shape.fullmatch(one) for one in [*ids, parsed["Message-ID"]])
    assert parsed["In-Reply-To"] == ids[-1]
    assert len(ids) == len(set(ids)) == 11
    rows = list(Email.objects.order_by("id").values_list("message_id", flat=True))
    assert ids == [rows[0], *rows[-11:-1]]


def test_robots_are_told_not_to_answer() -> None:
    parsed = read(made("Ottoline", "x"))
    assert parsed["Auto-Submitted"] == "auto-generated"  # RFC 3834, 5
    written: datetime = parsed["Date"].datetime
    assert written.utcoffset() is not None
    assert abs((timezone.now() - written).total_seconds()) < 60


def test_text_comes_before_html_and_both_say_the_words() -> None:
    """RFC 2046, 5.1.4: the plainest alternative first."""
    parsed = read(made("Ottoline", "Ist es Nußbaum? <b> & “ja”\nŽ"))
    assert [part.get_content_type() for part in parsed.walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]
    plain, html = parsed.get_body(("plain",)), parsed.get_body(("html",))
    assert plain is not None
    assert html is not None
    assert plain.get_content_charset() == html.get_content_charset() == "utf-8"
    assert "Ist es Nußbaum? <b> & “ja”\nŽ\n" in plain.get_content().replace("\r\n", "\n")
    assert "Ist es Nußbaum? &lt;b&gt; &amp; “ja”<br>" in html.get_content()


def test_an_invitation_is_where_calendars_look(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        blobs._fetchers, "things", lambda rest: blobs.Blob(b"%PDF-1.7\n\x00\xff", "application/pdf")
    )
    raw = made(
        "Ottoline",
        "x",
        enclose=[
            Enclose("Käfer.ics", "text/calendar; method=REQUEST", text=ICS),
            Enclose("Angebot für\r\nKäfer.pdf", "application/pdf", ref="things:1"),
        ],
    )
    parsed = read(raw)
    assert [part.get_content_type() for part in parsed.walk()] == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "text/html",
        "text/calendar",
        "application/ics",
        "application/pdf",
    ]
    calendar = next(part for part in parsed.walk() if part.get_content_type() == "text/calendar")
    assert calendar["Content-Type"].params["method"] == "REQUEST"  # RFC 6047, 2.4
    assert calendar["Content-Type"].params["charset"].lower() == "utf-8"
    assert calendar.get_content().replace("\r\n", "\n") == ICS.replace("\r\n", "\n")
    attached = list(parsed.iter_attachments())
    assert [part.get_filename() for part in attached] == ["Käfer.ics", "Angebot für-Käfer.pdf"]
    assert [part.get_content_disposition() for part in attached] == ["attachment", "attachment"]
    assert attached[0].get_content() == ICS.encode()
    assert attached[1].get_content() == b"%PDF-1.7\n\x00\xff"


NASTY = [
    "Käfer.pdf",
    "a b  c.pdf",
    "🪑" * 60 + ".pdf",
    'x"; filename="y\\',
    "x" * 115 + ".pdf",
    "Rechnung 100 %.pdf",
]


@pytest.mark.parametrize("name", NASTY)
def test_a_file_arrives_under_its_name(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """RFC 2231, 3 and 4: outside ASCII it is percent-encoded, in numbered pieces where it is long."""
    monkeypatch.setitem(blobs._fetchers, "things", lambda rest: blobs.Blob(b"%PDF", "application/pdf"))
    raw = made("Ottoline", "x", enclose=[Enclose(name, "application/pdf", ref="things:1")])
    (part,) = read(raw).iter_attachments()
    assert part.get_filename() == re.sub(r'[\\"]+', "-", name)
    (older,) = [one for one in email.message_from_bytes(raw).walk() if one.get_filename()]
    value = older.get_param("filename", header="content-disposition")
    assert value is not None
    assert collapse_rfc2231_value(value) == part.get_filename()
    for line in raw.split(b"\r\n"):
        assert len(line) <= 998
        assert b"filename*" not in line or len(line) <= 78  # RFC 5322, 2.1.1


def test_words_that_look_encoded_are_shown_as_they_were_typed() -> None:
    """RFC 2047, 7: what looks like an encoded word would be decoded by whoever reads it."""
    typed = "=?utf-8?q?Bcc=3A_x?= desk"
    raw = made(typed, "x")
    assert decoded(email.message_from_bytes(raw)["Subject"].replace("\r\n", "")) == row_subject()
    assert read(raw)["To"].addresses[0].display_name == typed


def test_only_quoted_printable_and_base64_and_nothing_above_seven_bits() -> None:
    """RFC 2045, 6.7: no line over 76, no space at the end of one; RFC 2045, 6.8: canonical CRLF in text."""
    for text in (
        "Ist es Nußbaum? \t\r\n\rlone \n. \n..\nFrom x\n" * 40,
        "орех " * 3000,
        "=" * 5000,
        "🪑" * 999,
    ):
        raw = made("Ottoline", text)
        assert raw.isascii()
        assert max(map(len, raw.partition(b"\r\n\r\n")[2].split(b"\r\n"))) <= 76
        for part in read(raw).walk():
            if part.is_multipart():
                continue
            assert part["Content-Transfer-Encoding"] in ("quoted-printable", "base64")
            assert not re.search(rb"[ \t]\r\n", part.as_bytes(policy=part.policy.clone(linesep="\r\n")))
            assert "\r" not in str(part.get_content()).replace("\r\n", "\n")


def picture_bytes() -> bytes:
    jpeg = io.BytesIO()
    Image.new("RGB", (800, 600), "#17645a").save(jpeg, "JPEG")
    return jpeg.getvalue()


@pytest.mark.parametrize("kind", catalogue.kinds())
def test_every_kind_of_email_is_a_message_by_the_standards(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With everything that any email carries: a document, an invitation and two pictures."""
    pdf, jpeg = b"%PDF-1.7\n\x00\xff", picture_bytes()
    monkeypatch.setitem(
        blobs._fetchers,
        "things",
        lambda rest: blobs.Blob(pdf, "application/pdf") if rest == "1" else blobs.Blob(jpeg, "image/jpeg"),
    )
    monkeypatch.setitem(
        links._writers, "sample", lambda rest: f"https://shop.example.com/in/{'k' * 60}/{rest}"
    )
    for sample in catalogue.about(kind).samples.values():
        with transaction.atomic():
            row = write(
                kind,
                to=Person("Ottoline Bräsk", "ottoline@example.com"),
                sender=Person("Tidewell Bench", "hello@tidewell.example.com"),
                context=dict(sample),
                thread="commission 1",
                enclose=[
                    Enclose("Papier.pdf", "application/pdf", ref="things:1"),
                    Enclose("v.ics", "text/calendar; method=REQUEST", text=ICS),
                    Enclose(
                        "1.jpg", "image/jpeg", ref="things:2", cid="one", says="Käfer", width=564, height=423
                    ),
                    Enclose("2.jpg", "image/jpeg", ref="things:3", cid="two", says="Leg"),
                ],
            )
        row.stop = "shopdesk-link:sample/stop"
        raw = raw_of(row)
        _by_the_standards(raw)
        parsed = read(raw)
        assert [part.get_content_type() for part in parsed.walk()] == [
            "multipart/mixed",
            "multipart/alternative",
            "text/plain",
            "multipart/related",
            "text/html",
            "image/jpeg",
            "image/jpeg",
            "text/calendar",
            "application/pdf",
            "application/ics",
        ]
        parts = {part.get_content_type(): part for part in parsed.walk()}
        assert parts["application/pdf"].get_content() == pdf
        calendar = icalendar.Calendar.from_ical(parts["text/calendar"].get_content())
        assert str(calendar.walk("VEVENT")[0]["SUMMARY"]) == "Abholung: Käfer & Söhne"
        with Image.open(io.BytesIO(parts["image/jpeg"].get_content())) as shown:
            assert (shown.format, shown.size) == ("JPEG", (800, 600))
        _shows_what_it_carries(parsed, str(parts["text/html"].get_content()))


def _by_the_standards(raw: bytes) -> None:
    email.message_from_bytes(raw, policy=email.policy.strict)  # raises at a defect
    head = raw.partition(b"\r\n\r\n")[0]
    names = [name.lower() for name in email.message_from_bytes(raw)]
    assert len(names) == len(set(names)), names  # RFC 5322, 3.6
    assert raw.isascii()
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", raw)
    assert max(map(len, raw.split(b"\r\n"))) <= 998
    for line in head.split(b"\r\n"):
        words = re.sub(rb"^[A-Za-z-]+: ", b"", line).split()
        assert len(line) <= 78 or len(words) == 1, line  # one word has no place where it could be folded


def _shows_what_it_carries(parsed: EmailMessage, html: str) -> None:
    """Every cid address names a part and every picture is shown once; nothing is fetched from anywhere."""
    related = next(part for part in parsed.walk() if part.get_content_type() == "multipart/related")
    assert related.get_param("type") == "text/html"
    cids = [part["Content-ID"] for part in parsed.walk() if part["Content-ID"]]
    assert all(re.fullmatch(r"<[a-z0-9-]+@[a-z0-9.-]+>", cid) for cid in cids)
    page = lxml_html.document_fromstring(html)
    assert [f"<{img.get('src').removeprefix('cid:')}>" for img in page.iter("img")] == cids
    assert all(img.get("alt") for img in page.iter("img"))
    for element in page.iter():
        assert element.tag not in ("script", "link", "iframe", "object", "form", "video", "audio")
        assert element.tag == "img" or not {"src", "srcset", "background", "data"} & set(element.attrib)
        assert not [name for name in element.attrib if name.startswith("on")]
    assert not re.search(r"url\(|@import|@font-face", html)
    assert page.get("lang") == "en"
    assert page.findtext(".//title")


def test_a_text_message_carries_the_words() -> None:
    with transaction.atomic():
        write(
            "question",
            to=Person("Barnaby Quill", ""),
            sender=Person("Tidewell", "hello@tidewell.example.com"),
            context={
                "pieces": "desk",
                "items": [{"text": "50 % & more?\nÜ"}],
                "phone": "+1 (555) 0118",
                "page": "shopdesk-link:desk/d/",
            },
            thread="",
        )
    (item,) = things_to_tell()
    number, _, body = item.sms.partition("?body=")
    assert number == "sms:+15550118"
    assert re.fullmatch(r"[A-Za-z0-9._~%-]+", body)
    assert unquote(body) == item.words
    assert "50 % & more?\nÜ" in item.words
