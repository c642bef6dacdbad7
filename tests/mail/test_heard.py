"""Emails that came in, whole and broken: who, what, which pictures, and whether a person wrote it."""

from __future__ import annotations

import base64
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopdesk.mail.heard import Heard, heard
from shopdesk.mail.lines import lines_of
from tests.mail.letters import HEAD, hear, letter, picture

# -- the head ------------------------------------------------------------------------------------------------


def test_who_to_whom_when_and_what_it_answers() -> None:
    made = heard(
        b"Message-ID: <1@example.com>\r\nIn-Reply-To: <a\r\n @tidewell.example.com>\r\n"
        b"References: <r1@x.example.com> <r2@x.example.com>\r\n\t<a@tidewell.example.com>\r\n"
        b"From: =?utf-8?q?Otti_Br=C3=A5sk?= <Otti@Example.COM>\r\n"
        b'To: "Bench, Tidewell" <HELLO@tidewell.example.com>, Runa: runa@x.example.com;\r\n'
        b"Cc: x@x.example.com\r\nDelivered-To: hello+tag@tidewell.example.com\r\n"
        b"X-Original-To: old@tidewell.example.com\r\nEnvelope-To: env@tidewell.example.com\r\n"
        b"Subject: =?utf-8?b?RGVyIFPDpGtyZXTDpHI=?=\r\nDate: Tue, 24 Nov 2026 15:04:05 +0100\r\n\r\nYes."
    )
    assert made.message_id == "<1@example.com>"
    assert made.in_reply_to == ("<a@tidewell.example.com>",)
    assert made.references == ("<r1@x.example.com>", "<r2@x.example.com>", "<a@tidewell.example.com>")
    assert (made.from_name, made.from_address) == ("Otti Bråsk", "otti@example.com")
    assert made.to == (
        "hello@tidewell.example.com",
        "runa@x.example.com",
        "x@x.example.com",
        "hello+tag@tidewell.example.com",
        "old@tidewell.example.com",
        "env@tidewell.example.com",
    )
    assert made.subject == "Der Säkretär"
    assert made.sent_at == datetime(2026, 11, 24, 14, 4, 5, tzinfo=UTC)
    assert (made.words, made.quoted, made.automatic, made.bounce) == ("Yes.", "", "", None)


def test_tricks_in_names_and_subjects() -> None:
    trick = "Otto\u202eline\u200b \u2066Brask\x07\u2029"
    coded = base64.b64encode(trick.encode()).decode()
    made = heard(f"From: =?utf-8?b?{coded}?= <o@example.com>\nSubject: a\u202eb\u200bc {trick}\n\nx".encode())
    assert made.from_name == "Ottoline Brask"
    assert made.subject == "abc Ottoline Brask"


@pytest.mark.parametrize(
    ("field", "name", "address"),
    [
        ("From: o@example.com <o@example.com>", "", "o@example.com"),
        ("From: o@example.com <x@elsewhere.example.com>", "o@example.com", "x@elsewhere.example.com"),
        ("From: o@example.com via x <x@example.com>", "o@example.com via x", "x@example.com"),
        ("From: o@example.com, x@example.com", "o@example.com, x@example.com", ""),
        ("From: <o@example.com> <x@example.com>", "<o@example.com> <x@example.com>", ""),
        ("From: o@example.com\nFrom: x@example.com", "o@example.com, x@example.com", ""),
        ("From: o@example.com\nFrom: o@example.com", "", "o@example.com"),
    ],
)
def test_of_several_senders_none_is_made_up(field: str, name: str, address: str) -> None:
    """RFC 7489, section 6.6.1: which of several a receiver vouches for is its own affair."""
    made = heard(f"{field}\nSubject: x\n\nHi".encode())
    assert (made.from_name, made.from_address) == (name, address)


def test_a_line_break_in_an_encoded_word_is_no_field() -> None:
    coded = base64.b64encode(b"x\r\nBcc: everybody@example.com\r\n\r\n<b>").decode()
    made = heard(f"From: o@example.com\r\nSubject: =?utf-8?b?{coded}?=\r\n\r\nHi".encode())
    assert made.subject == "x Bcc: everybody@example.com <b>"
    assert made.words == "Hi"


@pytest.mark.parametrize(
    ("field", "name", "address"),
    [
        (b"ottoline@example.com", "", "ottoline@example.com"),
        (b"Ottoline (the elder) <ottoline@example.com>", "Ottoline (the elder)", "ottoline@example.com"),
        (b'"=?utf-8?q?K=C3=A4te?=" <k@example.com>', "Käte", "k@example.com"),
        (b"K\xc3\xa4te <k@example.com>", "Käte", "k@example.com"),
        (b"K\xe4te <k@example.com>", "Käte", "k@example.com"),
        ("käte@möbel.example".encode(), "", "käte@möbel.example"),
        (b"Nobody in particular", "Nobody in particular", ""),
        (b"<>", "<>", ""),
        (b"((((" * 5000 + b" <o@example.com>", "", "o@example.com"),
        (b"a <a@example.com>, b <b@example.com>", "a <a@example.com>, b <b@example.com>", ""),
        (b"=?utf-8?q?a=40evil=2Eexample?= <o@example.com>", "a@evil.example", "o@example.com"),
        (b"=?no-such-charset?q?K=E4te?= <k@example.com>", "Käte", "k@example.com"),
        (b"=?utf-8?b?!!!?= <k@example.com>", "", "k@example.com"),
    ],
)
def test_senders(field: bytes, name: str, address: str) -> None:
    made = heard(b"From: " + field + b"\r\n\r\nx")
    assert (made.from_name, made.from_address) == (name, address)


@pytest.mark.parametrize(
    "date", ["yesterday", "Tue, 99 Nov 2026 15:04 +0100", "Tue, 24 Nov 2026 15:04:05 +9999999999", "", "1"]
)
def test_a_date_that_is_none(date: str) -> None:
    assert heard(f"Date: {date}\r\n\r\nx".encode()).sent_at is None


# -- the words -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("charset", "data", "text"),
    [
        ("utf-8", "Käfer".encode(), "Käfer"),
        ("", "Käfer".encode(), "Käfer"),
        ("us-ascii", "Käfer".encode(), "Käfer"),
        ("us-ascii", b"K\xe4fer", "Käfer"),
        ("utf-8", b"K\xe4fer \x96 30 \x80", "Käfer – 30 €"),
        ("iso-8859-1", b"30 \x80", "30 €"),
        ("no-such-charset", b"K\xe4fer", "Käfer"),
        ("gb2312", "餐边柜".encode("gb2312"), "餐边柜"),
        ("iso-2022-jp", "飾り棚".encode("iso-2022-jp"), "飾り棚"),
        ("ks_c_5601-1987", "찬장".encode("cp949"), "찬장"),
        ("koi8-r", "буфет".encode("koi8-r"), "буфет"),
        ("utf-16", "Käfer".encode("utf-16"), "Käfer"),
        ("utf-16", b"plain letters", "plain letters"),
        ("rot13", b"Yes", "Yes"),
        ("punycode", b"Yes", "Yes"),
        ("utf-8", "Käfer, Möwe, Grün, ".encode() + b"\xff\xc3", "Käfer, Möwe, Grün, ÿÃ"),
    ],
)
@pytest.mark.parametrize("encoding", ["8bit", "base64"])
def test_charsets_declared_wrongly_or_not_at_all(charset: str, data: bytes, text: str, encoding: str) -> None:
    typed = f'Content-Type: text/plain; charset="{charset}"\r\n' if charset else ""
    body = base64.encodebytes(data) if encoding == "base64" else data
    assert hear(body, f"{typed}Content-Transfer-Encoding: {encoding}\r\n".encode()).words == text


@pytest.mark.parametrize(
    ("encoding", "body", "text"),
    [
        (b"quoted-printable", b"one lo=\r\nng line =E2=82=AC =ZZ", "one long line € =ZZ"),
        (b"base64", b"SGVsbG8=\r\n_____\r\nfooter of a list", "Hello_____\nfooter of a list"),
        (b"base64", b"These are words.\r\nAll of them.", "These are words.\nAll of them."),
        (b"BASE64 ", b"SGVs\r\nbG8", "Hello"),
        (b"base64", b"SGVsbG8=SGVsbG8=", "HelloHello"),
        (b"x-uuencode", b"begin 644 a\r\n%2&5L;&\\\r\n`\r\nend", "Hello"),
        (b"x-nonsense", b"Hello", "Hello"),
    ],
)
def test_transfer_encodings(encoding: bytes, body: bytes, text: str) -> None:
    assert hear(body, b"Content-Transfer-Encoding: " + encoding + b"\r\n").words == text


def test_control_characters_and_turns_go_and_the_rest_stays() -> None:
    made = hear("a\0b\x1b[31mc \u202ed\u2066 \u200dfamily 👨\u200d👩 \ue000\n".encode())
    assert made.words == "ab[31mc d \u200dfamily 👨\u200d👩"


def test_a_line_of_ten_thousand_characters() -> None:
    assert hear(b"x" * 10_000).words == "x" * 10_000


@pytest.mark.parametrize(
    "body",
    [
        b"--b\r\nContent-Type: text/plain\r\n\r\nThe darker one.\r\n--b--",
        b"--b\r\nContent-Type: text/plain\r\n\r\nThe darker one.",  # cut off
        b"--b\r\n\r\nThe darker one.\r\n--b\r\nContent-Type: text/plain\r\n\r\n\r\n--b--",  # an empty part
        b"--b\r\nThe darker one.\r\n--b--",  # no line between head and body
        b"--other\r\nContent-Type: text/plain\r\n\r\nThe darker one.\r\n--other--",  # not its boundary
        b"The darker one.",  # no boundary at all
        b"--b\nContent-Type: text/plain\n\nThe darker one.\n--b--\n",
    ],
)
@pytest.mark.parametrize("boundary", [b"; boundary=b", b'; boundary="b"', b"; boundary*=us-ascii''b"])
def test_multiparts_whole_and_broken(body: bytes, boundary: bytes) -> None:
    made = hear(body, b"Content-Type: multipart/mixed" + boundary + b"\r\n")
    assert made.words == "The darker one."
    assert made.left_out == ()


def test_a_multipart_that_does_not_name_its_boundary() -> None:
    made = hear(
        b"--q1w2e3\r\nContent-Type: text/plain\r\n\r\nYes.\r\n--q1w2e3--",
        b"Content-Type: multipart/mixed\r\n",
    )
    assert made.words == "Yes."


def test_words_around_the_parts_are_kept() -> None:
    made = hear(
        b"One more thing\r\n--b\r\n\r\nYes.\r\n--b--\r\nand this",
        b"Content-Type: multipart/mixed; boundary=b\r\n",
    )
    assert made.words == "Yes."
    assert "One more thing" in made.quoted
    assert "and this" in made.quoted


# RFC 3676, sections 4.1 to 4.5.
def test_flowed_text() -> None:
    made = hear(
        b"The darker \r\none, and \r\nsoon.\r\n\r\n From the start.\r\n\r\n> Which of \r\n> the two?\r\n"
        b">> Both \r\n> No.\r\n"
        b"-- \r\nOttoline",
        b"Content-Type: text/plain; format=flowed\r\n",
    )
    assert made.words == "The darker one, and soon.\n\nFrom the start."
    assert made.quoted == "> Which of the two?\n>> Both\n> No.\n--\nOttoline"
    assert hear(b"da \r\nrker", b"Content-Type: text/plain; format=flowed; delsp=yes\r\n").words == "darker"
    assert [line.text for line in lines_of("a \n-- \nb", flowed=True)] == ["a ", "-- ", "b"]


def test_html_alone() -> None:
    made = heard(
        letter("", "").as_bytes().replace(b"text/plain", b"text/html") + b"<p>The <b>darker</b> one.<br>Yes."
    )
    assert made.words == "The darker one.\nYes."


def test_html_in_the_charset_that_its_own_head_names() -> None:
    made = hear(b'<meta charset="koi8-r"><p>' + "буфет".encode("koi8-r"), b"Content-Type: text/html\r\n")
    assert made.words == "буфет"


def test_plain_text_that_only_says_it_is_not_shown() -> None:
    made = heard(letter("Your program does not show HTML.", f"<p>{'The darker one. ' * 20}</p>").as_bytes())
    assert made.words.startswith("The darker one.")


def test_the_version_that_knows_what_is_quoted() -> None:
    quoted = '<div class="gmail_quote"><blockquote class="gmail_quote">Which of the two?</blockquote></div>'
    made = heard(letter("The darker one.\n\nWhich of the two?", f"<p>The darker one.</p>{quoted}").as_bytes())
    assert made.words == "The darker one."
    assert "Which of the two?" in made.quoted


def test_where_nothing_would_be_left_nothing_is_cut() -> None:
    whole = "On 24 Nov 2026 at 15:04 Runa <r@example.com> wrote:\n> Which of the two? THE DARKER ONE"
    made = heard(letter(whole).as_bytes())
    assert (made.words, made.quoted) == (whole, "")
    forward = (
        "---------- Forwarded message ---------\nFrom: Corin <c@example.com>\nSubject: Feet\n\nBlack ones."
    )
    made = heard(letter(forward).as_bytes())
    assert (made.words, made.quoted) == (forward, "")


def test_a_photo_alone_in_an_answer() -> None:
    made = letter(
        "\n\nSent from my telephone\n\nOn 24 Nov 2026 at 15:04 Runa <r@example.com> wrote:\n> A photo?"
    )
    made.add_attachment(picture(), maintype="image", subtype="jpeg", filename="IMG_1.jpg")
    found = heard(made.as_bytes())
    assert found.words == ""
    assert "Sent from my telephone" in found.quoted
    assert "> A photo?" in found.quoted
    assert [one.name for one in found.pictures] == ["IMG_1.jpg"]


def test_an_email_within_the_email() -> None:
    inner = letter("It was black once.")
    inner.replace_header("Subject", "Feet")
    inner.add_attachment(picture(), maintype="image", subtype="jpeg", filename="old.jpg")
    made = letter("See below.")
    made.add_attachment(inner)
    found = heard(made.as_bytes())
    assert found.words == "See below."
    assert "Subject: Feet\n\nIt was black once." in found.quoted
    assert [one.name for one in found.pictures] == ["old.jpg"]
    alone = letter("")
    alone.add_attachment(inner)
    assert "It was black once." in heard(alone.as_bytes()).words


# -- people and programs -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "head",
    [
        "Auto-Submitted: auto-replied",  # RFC 3834, section 5
        "Auto-Submitted: Auto-Generated (by a robot); x=y",
        "Auto-Submitted: auto-notified; owner-email=x@example.com",
        "Precedence: bulk",
        "Precedence: list",
        "Precedence: auto_reply",
        "List-Id: <wood.example.com>",
        "List-Unsubscribe: <mailto:off@example.com>",
        "X-Auto-Response-Suppress: DR, OOF, AutoReply",
        "X-Autoreply: yes",
        "Return-Path: <>",
        "Content-Type: multipart/report; report-type=disposition-notification; boundary=b",  # RFC 8098
    ],
)
def test_what_a_program_wrote(head: str) -> None:
    made = hear(b"I am away.", f"{head}\r\n".encode())
    assert made.automatic.endswith(".")
    assert made.bounce is None


@pytest.mark.parametrize(
    "head",
    [
        "Auto-Submitted: no",
        "Auto-Submitted: no (a person)",
        "Precedence: normal",
        "X-Auto-Response-Suppress: DR, RN",
        "X-Auto-Response-Suppress: None",
        "Return-Path: <ottoline@example.com>",
        "Subject: Out of office: Automatic reply",
        "X-Autoreply: no",
    ],
)
def test_what_a_person_may_have_written(head: str) -> None:
    assert hear(b"I am away till Monday.", f"{head}\r\n".encode()).automatic == ""


# -- whatever comes ------------------------------------------------------------------------------------------


def test_nothing_at_all() -> None:
    for raw in (b"", b"\r\n", b"\0", b"\xff\xfe", b":", b"From", b"\r\n\r\n\r\n"):
        made = heard(raw)
        assert (made.from_address, made.to, made.bounce) == ("", (), None)


@pytest.mark.parametrize("kind", [b"multipart/mixed; boundary=b%d", b"message/rfc822"])
def test_parts_within_parts_within_parts(kind: bytes) -> None:
    raw = HEAD
    for number in range(3000):
        raw += b"Content-Type: " + (kind % number if b"%" in kind else kind) + b"\r\n\r\n"
        raw += b"--b%d\r\n" % number if b"%" in kind else b""
    made = heard(raw + b"\r\nHello")
    assert made.from_address == "ottoline@example.com"
    assert made.left_out  # what was not taken apart is named


def test_more_parts_than_anybody_sends() -> None:
    made = hear(
        b"--b\r\n\r\nYes.\r\n" + b"--b\r\n\r\n" * 5000, b"Content-Type: multipart/mixed; boundary=b\r\n"
    )
    assert made.words.startswith("Yes.")
    assert made.left_out[0].startswith("the rest of it, which has too many parts, ")


def test_more_text_than_anybody_reads() -> None:
    made = hear(b"".join(b"Line %d\r\n" % number for number in range(300_000)))
    assert len(made.words) <= 100_000
    assert made.words.startswith("Line 0\n")
    assert f"{made.words}\n{made.quoted}".startswith("\n".join(f"Line {number}" for number in range(50_000)))
    assert made.left_out[0].startswith("the rest of the text, ")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=2000))
def test_any_bytes_are_heard(raw: bytes) -> None:
    assert isinstance(heard(raw), Heard)


_WORD = st.from_regex(r"[a-z]{4,9}", fullmatch=True)
_PIECES = st.sampled_from(
    [
        "\n", "\n\n", "> ", ">> ", " ", ": ", "-- \n", "--\n", "-----Original Message-----\n", "From: ",
        "Sent: ",
        "To: ", "Subject: ", "On 24 Nov 2026 at 15:04 Runa <r@example.com> wrote:\n", "Sent from my "
            "telephone\n",
        "________________\n", "Tidewell Bench wrote:\n", "\t", "\u00a0", "=", "<div>", "<blockquote "
            "type=cite>",
        "</blockquote>", "<p>", "</div>", "<br>", "&amp;", "<div id=appendonsend>", "<div class=gmail_quote>",
    ]
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(_WORD, _PIECES), max_size=60), st.booleans(), st.booleans())
def test_no_typed_word_is_lost(pieces: list[str], html: bool, flowed: bool) -> None:
    """Each piece of text between the marks comes back, in the words or in the rest."""
    text = "".join(pieces)
    kind = "text/html" if html else "text/plain; format=flowed" if flowed else "text/plain"
    made = hear(text.encode(), f"Content-Type: {kind}; charset=utf-8\r\n".encode())
    kept = f"{made.words}\n{made.quoted}"
    for piece in pieces:
        if piece.isalpha():
            assert piece in kept
