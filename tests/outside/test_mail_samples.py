"""Emails that others published, and how they are heard:

- RFC 5322 (Internet Message Format), appendix A: addresses, dates and folding, old and new;
- RFC 2046 (MIME: media types), section 5.1.1, and RFC 2049, appendix A: messages of many parts;
- RFC 2047, section 8, and RFC 2231, sections 3 to 5: letters outside ASCII in fields and parameters;
- RFC 3676, section 6: format=flowed;
- RFC 3834, section 5: `Auto-Submitted`;
- Python's own awkward emails (`test.test_email.data`), and its parser as a second opinion on their parts;
- the html-text library as a second opinion on the words of HTML.

The examples of the RFCs are typed in as they stand there; delivery reports have a file of their own."""

from __future__ import annotations

import email
import random
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

import html_text
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopdesk.mail.charsets import header_text
from shopdesk.mail.entities import read
from shopdesk.mail.heard import heard
from shopdesk.mail.hypertext import lines_of_html
from shopdesk.mail.lines import lines_of
from tests.conftest import need


def at(year: int, month: int, day: int, hour: int, minute: int, second: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC)


# -- RFC 5322, appendix A ------------------------------------------------------------------------------------


def test_rfc5322_a_1_2_types_of_mailboxes() -> None:
    made = heard(
        b'From: "Joe Q. Public" <john.q.public@example.com>\n'
        b"To: Mary Smith <mary@x.test>, jdoe@example.org, Who? <one@y.test>\n"
        b'Cc: <boss@nil.test>, "Giant; \\"Big\\" Box" <sysservices@example.net>\n'
        b"Date: Tue, 1 Jul 2003 10:52:37 +0200\nMessage-ID: <5678.21-Nov-1997@example.com>\n\nHi everyone.\n"
    )
    assert (made.from_name, made.from_address) == ("Joe Q. Public", "john.q.public@example.com")
    assert made.to == (
        "mary@x.test",
        "jdoe@example.org",
        "one@y.test",
        "boss@nil.test",
        "sysservices@example.net",
    )
    assert made.sent_at == at(2003, 7, 1, 8, 52, 37)
    assert (made.message_id, made.words) == ("<5678.21-Nov-1997@example.com>", "Hi everyone.")


def test_rfc5322_a_1_3_group_addresses() -> None:
    made = heard(
        b"From: Pete <pete@silly.example>\n"
        b"To: A Group:Ed Jones <c@a.test>,joe@where.test,John <jdoe@one.test>;\nCc: Undisclosed "
        b"recipients:;\n"
        b"Date: Thu, 13 Feb 1969 23:32:54 -0330\nMessage-ID: <testabcd.1234@silly.example>\n\nTesting.\n"
    )
    assert made.to == ("c@a.test", "joe@where.test", "jdoe@one.test")
    assert made.sent_at == at(1969, 2, 14, 3, 2, 54)


def test_rfc5322_a_2_a_reply() -> None:
    made = heard(
        b"From: Mary Smith <mary@example.net>\nTo: John Doe <jdoe@machine.example>\n"
        b'Reply-To: "Mary Smith: Personal Account" <smith@home.example>\nSubject: Re: Saying Hello\n'
        b"Date: Fri, 21 Nov 1997 10:01:10 -0600\nMessage-ID: <3456@example.net>\n"
        b"In-Reply-To: <1234@local.machine.example>\nReferences: <1234@local.machine.example>\n\n"
        b"This is a reply to your hello.\n"
    )
    assert made.from_address == "mary@example.net"
    assert made.in_reply_to == made.references == ("<1234@local.machine.example>",)
    assert made.words == "This is a reply to your hello."


def test_rfc5322_a_5_white_space_and_comments() -> None:
    made = heard(
        b"From: Pete(A nice \\) chap) <pete(his account)@silly.test(his host)>\n"
        b"To:A Group(Some people)\n     :Chris Jones <c@(Chris's host.)public.example>,\n"
        b"         joe@example.org,\n  John <jdoe@one.test> (my dear friend); (the end of the group)\n"
        b"Cc:(Empty list)(start)Hidden recipients  :(nobody(that I know))  ;\n"
        b"Date: Thu,\n      13\n        Feb\n          1969\n      23:32\n               -0330 "
        b"(Newfoundland Time)\n"
        b"Message-ID:              <testabcd.1234@silly.test>\n\nTesting.\n"
    )
    assert made.from_address == "pete@silly.test"
    assert made.from_name.startswith("Pete")
    assert made.to == ("c@public.example", "joe@example.org", "jdoe@one.test")
    assert made.sent_at == at(1969, 2, 14, 3, 2)
    assert (made.message_id, made.words) == ("<testabcd.1234@silly.test>", "Testing.")


def test_rfc5322_a_6_obsolete_forms() -> None:
    made = heard(
        b"From: Joe Q. Public <john.q.public@example.com>\n"
        b"To: Mary Smith <@node.test:mary@example.net>, , jdoe@test  . example\n"
        b"Date: Tue, 1 Jul 2003 10:52:37 +0200\nMessage-ID: <5678.21-Nov-1997@example.com>\n\nHi everyone.\n"
    )
    assert made.from_address == "john.q.public@example.com"
    assert made.to == ("mary@example.net", "jdoe@test.example")
    assert heard(b"Date: 21 Nov 97 09:55:06 GMT\n\nx").sent_at == at(1997, 11, 21, 9, 55, 6)
    spaced = heard(
        b"From  : John Doe <jdoe@machine(comment).  example>\nTo    : Mary Smith\n  \n          "
        b"<mary@example.net>\n"
        b"Subject     : Saying Hello\nMessage-ID  : <1234   @   local(blah)  .machine .example>\n\n"
        b"This is a message just to say hello.\n"
    )
    assert (spaced.from_address, spaced.to) == ("jdoe@machine.example", ("mary@example.net",))
    assert (spaced.subject, spaced.words) == ("Saying Hello", "This is a message just to say hello.")


# -- RFC 2046 and 2049 ---------------------------------------------------------------------------------------


def test_rfc2046_5_1_1_two_parts() -> None:
    made = heard(
        b"From: Nathaniel Borenstein <nsb@bellcore.com>\nTo: Ned Freed <ned@innosoft.com>\n"
        b"Date: Sun, 21 Mar 1993 23:56:48 -0800 (PST)\nSubject: Sample message\nMIME-Version: 1.0\n"
        b'Content-type: multipart/mixed; boundary="simple boundary"\n\n'
        b"This is the preamble.  It is to be ignored, though it\nis a handy place for composition "
        b"agents to include an\n"
        b"explanatory note to non-MIME conformant readers.\n\n--simple boundary\n\n"
        b"This is implicitly typed plain US-ASCII text.\nIt does NOT end with a linebreak.\n--simple "
        b"boundary\n"
        b"Content-type: text/plain; charset=us-ascii\n\nThis is explicitly typed plain US-ASCII text.\n"
        b"It DOES end with a linebreak.\n\n--simple boundary--\n\nThis is the epilogue.  It is also to "
        b"be ignored.\n"
    )
    assert made.words == (
        "This is implicitly typed plain US-ASCII text.\nIt does NOT end with a linebreak.\n\n"
        "This is explicitly typed plain US-ASCII text.\nIt DOES end with a linebreak."
    )


def test_rfc2049_appendix_a() -> None:
    made = heard(
        b"MIME-Version: 1.0\nFrom: Nathaniel Borenstein <nsb@nsb.fv.com>\nTo: Ned Freed <ned@innosoft.com>\n"
        b"Date: Fri, 07 Oct 1994 16:15:05 -0700 (PDT)\nSubject: A multipart example\n"
        b"Content-Type: multipart/mixed;\n              boundary=unique-boundary-1\n\n"
        b"This is the preamble area of a multipart message.\nMail readers that understand multipart format\n"
        b"should ignore this preamble.\n\nIf you are reading this text, you might want to\n"
        b"consider changing to a mail reader that understands\nhow to properly display multipart "
        b"messages.\n\n"
        b"--unique-boundary-1\n\n  ... Some text appears here ...\n\n--unique-boundary-1\n"
        b"Content-type: text/plain; charset=US-ASCII\n\nThis could have been part of the previous part, but\n"
        b"illustrates explicit versus implicit typing of body\nparts.\n\n--unique-boundary-1\n"
        b"Content-Type: multipart/parallel; boundary=unique-boundary-2\n\n--unique-boundary-2\n"
        b"Content-Type: audio/basic\nContent-Transfer-Encoding: base64\n\n"
        b"AAAA\n\n--unique-boundary-2\nContent-Type: image/jpeg\nContent-Transfer-Encoding: base64\n\n"
        b"/9j/4AAQ\n\n--unique-boundary-2--\n\n--unique-boundary-1\nContent-type: text/enriched\n\n"
        b"This is <bold><italic>enriched.</italic></bold>\n<smaller>as defined in RFC 1896</smaller>\n\n"
        b"Isn't it\n<bigger><bigger>cool?</bigger></bigger>\n\n--unique-boundary-1\nContent-Type: "
        b"message/rfc822\n\n"
        b"From: (mailbox in US-ASCII)\nTo: (address in US-ASCII)\nSubject: (subject in US-ASCII)\n"
        b"Content-Type: Text/plain; charset=ISO-8859-1\nContent-Transfer-Encoding: Quoted-printable\n\n"
        b"  ... Additional text in ISO-8859-1 goes here ...\n\n--unique-boundary-1--\n"
    )
    assert made.subject == "A multipart example"
    assert "... Some text appears here ..." in made.words
    assert "illustrates explicit versus implicit typing of body\nparts." in made.words
    assert "This is enriched." in made.words
    assert "cool?" in made.words
    assert "... Additional text in ISO-8859-1 goes here ..." in made.quoted
    assert [(one.mime, one.data) for one in made.pictures] == [("image/jpeg", b"\xff\xd8\xff\xe0\x00\x10")]
    assert made.left_out == ("a file without a name (audio/basic), 3 bytes",)


# -- RFC 2047, section 8, and RFC 2231 -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("coded", "shown"),
    [
        ("(=?ISO-8859-1?Q?a?=)", "(a)"),
        ("(=?ISO-8859-1?Q?a?= b)", "(a b)"),
        ("(=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=)", "(ab)"),
        ("(=?ISO-8859-1?Q?a?=  =?ISO-8859-1?Q?b?=)", "(ab)"),
        ("(=?ISO-8859-1?Q?a_b?=)", "(a b)"),
        ("(=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=)", "(a b)"),
        ("=?US-ASCII?Q?Keith_Moore?=", "Keith Moore"),
        ("=?ISO-8859-1?Q?Keld_J=F8rn_Simonsen?=", "Keld Jørn Simonsen"),
        ("=?ISO-8859-1?Q?Andr=E9?= Pirard", "André Pirard"),
        ("=?ISO-8859-1?Q?Patrik_F=E4ltstr=F6m?=", "Patrik Fältström"),
        ("=?iso-8859-8?b?7eXs+SDv4SDp7Oj08A==?=", "םולש ןב ילטפנ"),
        ("=?ISO-8859-1?B?SWYgeW91IGNhbiByZWFkIHRoaXMgeW8=?= "
            "=?ISO-8859-2?B?dSB1bmRlcnN0YW5kIHRoZSBleGFtcGxlLg==?=",
         "If you can read this you understand the example."),
        ("=?US-ASCII*EN?Q?Keith_Moore?=", "Keith Moore"),  # RFC 2231, section 5
    ],
)  # fmt: skip
def test_rfc2047_8_encoded_words(coded: str, shown: str) -> None:
    assert header_text(coded) == shown


def test_rfc2047_8_in_an_address() -> None:
    made = heard(
        b"From: =?US-ASCII?Q?Keith_Moore?= <moore@cs.utk.edu>\n"
        b"To: =?ISO-8859-1?Q?Keld_J=F8rn_Simonsen?= <keld@dkuug.dk>\n"
        b"CC: =?ISO-8859-1?Q?Andr=E9?= Pirard <PIRARD@vm1.ulg.ac.be>\n\nx"
    )
    assert made.from_name == "Keith Moore"
    assert made.to == ("keld@dkuug.dk", "pirard@vm1.ulg.ac.be")


def test_rfc2231_parameters() -> None:
    made = read(
        b'Content-Type: message/external-body; access-type=URL;\n URL*0="ftp://";\n'
        b' URL*1="cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar"\n\nx'
    )  # section 3
    assert made.param("content-type", "url") == "ftp://cs.utk.edu/pub/moore/bulk-mailer/bulk-mailer.tar"
    made = read(
        b"Content-Type: application/x-stuff;\n title*=us-ascii'en-us'This%20is%20%2A%2A%2Afun%2A%2A%2A\n\nx"
    )  # section 4
    assert made.param("content-type", "title") == "This is ***fun***"
    made = read(
        b"Content-Type: application/x-stuff;\n    title*0*=us-ascii'en'This%20is%20even%20more%20;\n"
        b'    title*1*=%2A%2A%2Afun%2A%2A%2A%20;\n    title*2="isn\'t it!"\n\nx'
    )  # section 4.1, with the semicolons that are missing there
    assert made.param("content-type", "title") == "This is even more ***fun*** isn't it!"


# -- RFC 3676, section 6 -------------------------------------------------------------------------------------


def test_rfc3676_6_flowed() -> None:
    lines = lines_of(
        "`Take some more tea,' the March Hare said to Alice, \nvery earnestly.\n\n"
        "`I've had nothing yet,' Alice replied in an offended \ntone, `so I can't take more.'\n\n"
        "`You mean you can't take LESS,' said the Hatter: `it's \nvery easy to take MORE than nothing.'",
        flowed=True,
    )
    assert [line.text for line in lines] == [
        "`Take some more tea,' the March Hare said to Alice, very earnestly.",
        "",
        "`I've had nothing yet,' Alice replied in an offended tone, `so I can't take more.'",
        "",
        "`You mean you can't take LESS,' said the Hatter: `it's very easy to take MORE than nothing.'",
    ]
    quoted = lines_of(
        ">>>Take some more tea.\n>>I've had nothing yet, so I can't take more.\n"
        ">You mean you can't take LESS, it's very easy to take \n>MORE than nothing.",
        flowed=True,
    )
    assert [(line.depth, line.text) for line in quoted] == [
        (3, "Take some more tea."),
        (2, "I've had nothing yet, so I can't take more."),
        (1, "You mean you can't take LESS, it's very easy to take MORE than nothing."),
    ]


# -- RFC 3834, section 5 -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "automatic"),
    [
        ("no", False),
        ("auto-generated", True),
        ("auto-replied", True),
        ("auto-replied; owner-email=x@example.com", True),
        ("extension-keyword", True),
    ],
)
def test_rfc3834_5_auto_submitted(value: str, automatic: bool) -> None:
    assert bool(heard(f"From: o@example.com\nAuto-Submitted: {value}\n\nx".encode()).automatic) is automatic


# -- Python's awkward emails ---------------------------------------------------------------------------------

SEEN_OTHERWISE = {
    "msg_15.txt": "a multipart within itself, of the same boundary",
    "msg_16.txt": "message/delivery-status is one part here, and one for each group of fields there",
    "msg_17.txt": "a multipart without any part",
    "msg_25.txt": "the boundary that it names is not the one it uses",
    "msg_31.txt": "it names no boundary",
    "msg_36.txt": "message/external-body stays as it is",
    "msg_37.txt": "boundaries that follow each other, with nothing between",
    "msg_39.txt": "a multipart within itself, of the same boundary",
    "msg_41.txt": "a multipart without any part",
    "msg_42.txt": "a multipart within another message, cut off before its first part",
    "msg_43.txt": "message/delivery-status, again",
}
"""Where Python's parser takes another email apart than ours, and why. The words are the same or more."""


def samples() -> list[Path]:
    try:
        folder = next(iter(import_module("test.test_email.data").__path__))
    except ModuleNotFoundError:
        return []
    return sorted(Path(folder).glob("msg_*.txt"))


def stdlib_samples() -> list[Path]:
    found = samples()
    need("stdlib-mail", bool(found), "Python's own tests are not installed (Debian: libpython3.11-testsuite)")
    return found


def test_parts_as_pythons_parser_finds_them() -> None:
    for file in stdlib_samples():
        raw = file.read_bytes()
        theirs = [
            (part.get_content_type(), part.get_filename() or "", part.get_payload(decode=True))
            for part in email.message_from_bytes(raw).walk()
            if not part.is_multipart()
        ]
        ours = [(part.mime, part.filename, part.data()) for part in read(raw).walk() if not part.parts]
        assert (ours == theirs) is (file.name not in SEEN_OTHERWISE), file.name


def test_every_word_of_pythons_awkward_emails_is_kept() -> None:
    for file in stdlib_samples():
        if file.name == "msg_36.txt":
            continue  # message/external-body: a file that is somewhere else, named with what is left out
        raw = file.read_bytes()
        made = heard(raw)
        kept = set(f"{made.words} {made.quoted}".split())
        for part in email.message_from_bytes(raw).walk():
            if (
                part.get_content_type() == "text/plain"
                and not part.is_multipart()
                and not part.get_filename()
            ):
                data = part.get_payload(decode=True)
                assert isinstance(data, bytes)
                said = read(b"\n" + data).letters()
                missing = {word for word in said.split() if word.isascii() and word not in kept}
                assert not missing, (file.name, missing)


@settings(max_examples=150, deadline=None)
@given(st.randoms(use_true_random=False))
def test_awkward_emails_with_something_broken_in_them(chance: random.Random) -> None:
    """Bytes changed, cut out, doubled and cut off: nothing raises, and the text that can be read is text."""
    found = stdlib_samples()
    raw = bytearray(chance.choice(found).read_bytes())
    for _ in range(chance.randint(1, 12)):
        start = chance.randrange(len(raw) + 1)
        stop = min(len(raw), start + chance.randint(0, 60))
        match chance.randrange(4):
            case 0:
                raw[start:stop] = chance.randbytes(stop - start)
            case 1:
                del raw[start:stop]
            case 2:
                raw[start:start] = raw[start:stop] * chance.randint(1, 5)
            case _:
                raw[start:start] = chance.choice(
                    [b"\r", b"\n\n", b"--", b"=?", b"\0", b"\x1b$B", b"<", b"(", b'"']
                )
    made = heard(bytes(raw[: chance.randint(len(raw) // 2, len(raw))]))
    for text in (made.words, made.quoted, made.subject, made.from_name, *made.left_out):
        assert "\0" not in text
        text.encode()


# -- a second opinion on HTML --------------------------------------------------------------------------------

_TAG_NAMES = "div p b span li ul table tr td h1 blockquote br i font center pre section"
_TAGS = st.sampled_from(_TAG_NAMES.split())
_WORDS = st.from_regex(r"[a-z]{1,8}", fullmatch=True)
_MARKUP = st.lists(
    st.one_of(
        _WORDS.map(lambda word: f" {word} "),
        _TAGS.map(lambda tag: f"<{tag}>"),
        _TAGS.map(lambda tag: f"</{tag}>"),
        st.just("<!-- unseen -->"),
        st.just("<style>p{color:red}</style>"),
        st.just("<script>alert(1)</script>"),
        st.just("&amp; &lt;b&gt; &#8211; "),
    ),
    max_size=40,
).map("".join)


@settings(max_examples=200, deadline=None)
@given(_MARKUP)
def test_the_words_of_html_as_another_library_reads_them(markup: str) -> None:
    ours = " ".join(line.text for line in lines_of_html(f"<html><body>{markup}</body></html>"))
    ours = ours.replace("- ", " ")  # our mark of an item of a list
    theirs = html_text.extract_text(f"<html><body>{markup}</body></html>")
    assert "".join(ours.split()) == "".join(theirs.split())
