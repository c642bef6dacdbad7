"""Reports of what did not arrive that keep to no standard, and what is none though it looks like one. The
forms are as mail servers write them, from memory; addresses are invented."""

from __future__ import annotations

import pytest

from shopdesk.mail.heard import heard
from shopdesk.mail.refusals import plain_words, status_of

FROM = "From: MAILER-DAEMON@mail.example.com\nTo: hello@tidewell.example.com\nSubject: failure notice\n"
COPY = """\
Return-Path: <hello@tidewell.example.com>
Message-ID: <7@tidewell.example.com>
Subject: Your desk

Hi"""

WRITTEN = {
    "paragraphs": (
        "Hi. This is the mail program at mail.example.com.\n"
        "I'm afraid I wasn't able to deliver your message to the following addresses.\n"
        "This is a permanent error; I've given up. Sorry it didn't work out.\n\n"
        "<ottoline@example.com>:\n192.0.2.7 does not like recipient.\n"
        "Remote host said: 550 5.1.1 <ottoline@example.com>: no such user\nGiving up on 192.0.2.7.\n\n"
        f"--- Below this line is a copy of the message.\n\n{COPY}",
        "failed",
        "5.1.1",
        "There is no such mailbox",
    ),
    "indented": (
        "This message was created automatically by mail delivery software.\n\n"
        "A message that you sent could not be delivered to one or more of its\n"
        "recipients. This is a permanent error. The following address(es) failed:\n\n"
        "  ottoline@example.com\n    host mx.example.com [192.0.2.7]\n    SMTP error from remote mail "
        "server after "
        "RCPT TO:<ottoline@example.com>:\n    552 5.2.2 Mailbox full\n\n"
        f"------ This is a copy of the message, including all the headers. ------\n\n{COPY}",
        "failed",
        "5.2.2",
        "Their mailbox is full.",
    ),
    "session": (
        "   ----- The following addresses had permanent fatal errors -----\n<ottoline@example.com>\n\n"
        "   ----- The session follows -----\n... while talking to mx.example.com.:\n"
        ">>> RCPT To:<ottoline@example.com>\n<<< 550 User unknown\n550 <ottoline@example.com>... User "
        "unknown\n\n"
        f"   ----- Original message follows -----\n\n{COPY}",
        "failed",
        "5.1.1",
        "There is no such mailbox",
    ),
    "without a code": (
        "Delivery failed:\n\n<ottoline@example.com>: 550 No such user here\n\n" + COPY,
        "failed",
        "5.1.1",
        "There is no such mailbox",
    ),
    "an exact code behind a vague one": (
        f"Delivery failed 5.0.0\n<ottoline@example.com>: 550 5.5.0 550 5.1.10 no mail\n\n{COPY}",
        "failed",
        "5.1.10",
        "takes no email at all",
    ),
    "and somebody else": (
        "Delivery failed:\n\n<ottoline@example.com>: 554 not today\n\n"
        f"<zoe@example.com>: 550 5.1.1 no such user\n\n{COPY}",
        "failed",
        "5.0.0",
        "554 not today",
    ),
    "still trying": (
        "Your message has not yet been delivered to <ottoline@example.com>:\n"
        "451 4.4.1 connection timed out\nIt will be retried for 3 days. You do not need to resend it.\n\n"
        f"{COPY}",
        "delayed",
        "4.4.1",
        "It is not delivered yet",
    ),
    "German": (
        f"Ihre Nachricht an <ottoline@example.com> konnte nicht zugestellt werden:\n550 5.7.1 Spam\n\n{COPY}",
        "failed",
        "5.7.1",
        "refused it as unwanted",
    ),
}


def report(groups: str, more: str = "--b") -> bytes:
    return (
        f"{FROM}Content-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b\n"
        f"Content-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\n{groups}\n{more}\n--b--"
    ).encode()


@pytest.mark.parametrize(("text", "action", "status", "words"), WRITTEN.values(), ids=WRITTEN)
def test_reports_in_plain_text(text: str, action: str, status: str, words: str) -> None:
    made = heard(f"{FROM}\n{text}".encode())
    assert made.bounce is not None
    assert made.bounce.message_id == "<7@tidewell.example.com>"
    assert made.bounce.address == "ottoline@example.com"
    assert (made.bounce.action, made.bounce.status) == (action, status)
    assert words in made.bounce.words
    assert made.automatic


def test_the_address_that_a_field_of_its_own_names() -> None:
    made = heard(f"{FROM}X-Failed-Recipients: Ottoline@Example.com\n\nNo such person here.".encode())
    assert made.bounce is not None
    assert (made.bounce.address, made.bounce.action) == ("ottoline@example.com", "failed")


@pytest.mark.parametrize("text", WRITTEN.values(), ids=WRITTEN)
def test_a_person_who_sends_a_report_on_is_a_person(text: tuple[str, str, str, str]) -> None:
    made = heard(f"From: Ottoline <ottoline@example.com>\n\nLook what I got:\n\n{text[0]}".encode())
    assert (made.bounce, made.automatic) == (None, "")
    attached = (
        "From: Ottoline <ottoline@example.com>\nContent-Type: multipart/mixed; boundary=b\n\n--b\n\n"
        "Look:\n--b\n"
        "Content-Type: message/rfc822\n\nFrom: MAILER-DAEMON@mail.example.com\nContent-Type: "
        "multipart/report;"
        " report-type=delivery-status; boundary=c\n\n--c\nContent-Type: message/delivery-status\n\n"
        "Reporting-MTA: dns; x\n\nFinal-Recipient: rfc822; x@example.com\nAction: failed\nStatus: "
        "5.1.1\n--c--\n--b--"
    )
    made = heard(attached.encode())
    assert (made.bounce, made.automatic) == (None, "")
    assert made.words == "Look:"


def test_a_mail_server_that_says_something_else_is_no_report() -> None:
    made = heard(
        f"{FROM}\nYour quarantine holds three new emails.".replace("failure notice", "Daily").encode()
    )
    assert made.bounce is None
    assert made.automatic == "A mail server wrote it."


@pytest.mark.parametrize("sender", ["anna-postmaster@example.com", "notmailer-daemon@example.com"])
def test_names_that_only_end_like_a_server(sender: str) -> None:
    assert heard(f"From: {sender}\n\nHello".encode()).automatic == ""


def test_a_report_without_much_in_it() -> None:
    for body in (
        "",
        "Reporting-MTA: dns; x",
        "Action: failed",
        "Status: nonsense\nAction: nonsense",
        "\n\n\n",
    ):
        made = heard(
            f"{FROM}Content-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b\n"
            f"Content-Type: message/delivery-status\n\n{body}\n--b--".encode()
        )
        assert made.bounce is not None
        assert made.bounce.action == "failed"
        assert made.bounce.words


@pytest.mark.parametrize("action", ["delivered", "relayed", "expanded"])
def test_a_report_of_good_news(action: str) -> None:
    made = heard(
        f"{FROM}Content-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b\n"
        f"Content-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\n"
        f"Final-Recipient: rfc822; o@example.com\nAction: {action}\nStatus: 2.0.0\n--b--".encode()
    )
    assert made.bounce is not None
    assert (made.bounce.action, made.bounce.status) == (action, "2.0.0")
    assert made.bounce.words.startswith("It was ")


# -- words ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("status", "said", "words"),
    [
        ("550", "", "Their mail server does not take email for that address."),
        ("550", "5.1.1 No\r\n such user", "There is no such mailbox at their mail server. The server "
            "said: “5.1.1 No such user”"),
        ("550 5.1.1", "", "There is no such mailbox at their mail server."),
        ("", "", "Their mail server did not take it."),
        ("", "452 4.2.2 full", "Their mailbox is full. It may work later. The server said: “452 4.2.2 full”"),
        ("421", "", "Their mail server takes no email at the moment. It may work later."),
        ("535", "5.7.8 no", "The shop's own mail server does not accept its user name and password. The "
            "server said: “5.7.8 no”"),
        ("5.0.0", "554 5.7.1 spam", "Their mail server refused it as unwanted. The server said: “554 "
            "5.7.1 spam”"),
        ("450", "4.7.1 Greylisted", "Their mail server does not want it yet. It may work later. The "
            "server said: “4.7.1 Greylisted”"),
        ("", "see 192.0.2.550 and 5.1.1.7", "Their mail server did not take it. The server said: “see "
            "192.0.2.550 and 5.1.1.7”"),
    ],
)  # fmt: skip
def test_plain_words(status: str, said: str, words: str) -> None:
    assert plain_words(status, said) == words


def test_what_a_server_says_is_one_short_line_without_tricks() -> None:
    words = plain_words("550", "a\u202eb\x00c\n" + "x" * 5000)
    assert words.startswith(
        "Their mail server does not take email for that address. The server said: “a b c x"
    )
    assert len(words) < 400


def test_statuses() -> None:
    assert status_of("5.1.1 (bad)", "") == "5.1.1"
    assert status_of("", "550 no") == "5.0.0"
    assert status_of("", "version 1.5.1.1", "port 25") == ""


@pytest.mark.parametrize(
    ("status", "diagnostic", "found"),
    [
        ("5.0.0", "smtp; 550 5.1.1 User unknown", "5.1.1"),
        ("5.5.0", "smtp; 550 5.1.10 RESOLVER.ADR", "5.1.10"),
        ("5.1.0", "smtp; 550 5.1.8 sender rejected", "5.1.8"),
        ("", "smtp; 550 5.1.1 User unknown", "5.1.1"),
        ("nonsense", "smtp; 550 5.1.2 no such host", "5.1.2"),
        ("5.2.2", "smtp; 550 5.1.1 User unknown", "5.2.2"),  # it is exact itself
        ("4.0.0", "smtp; 550 5.1.1 User unknown", "4.0.0"),  # the two are not of one mind
        ("5.0.0", "smtp; 550 5.7.1 blocked: no such user as 5.1.1", "5.7.1"),
        ("5.0.0", "smtp; 550 <o@example.com>: User unknown in virtual alias table", "5.1.1"),
        ("5.5.0", "smtp; 550-No such user here\n 550 sorry", "5.1.1"),
        ("", "smtp; 550 Unknown recipient", "5.1.1"),
        ("5.0.0", "smtp; 550 Requested action not taken: mailbox unavailable", "5.0.0"),
        ("5.0.0", "smtp; 550 Sender verify failed: user unknown", "5.0.0"),
        ("5.0.0", "smtp; 550 User unknown or temporarily disabled", "5.0.0"),
        ("5.0.0", "smtp; 554 No such user here", "5.0.0"),
        ("4.0.0", "smtp; 450 User unknown", "4.0.0"),
    ],
)
def test_the_more_exact_of_two_codes_counts(status: str, diagnostic: str, found: str) -> None:
    """RFC 3464, 2.3.4 and 2.3.6: the status is the reporter's word for what the diagnostic says exactly."""
    made = heard(report(f"Final-Recipient: rfc822; o@example.com\nAction: failed\nStatus: {status}\n"
                        f"Diagnostic-Code: {diagnostic}"))  # fmt: skip
    assert made.bounce is not None
    assert (made.bounce.status, made.bounce.alone) == (found, True)


def test_a_code_is_of_the_recipient_that_it_stands_with() -> None:
    ours = "Final-Recipient: rfc822; ottoline@example.com\nAction: failed\nStatus: 5.0.0\n"
    theirs = "Final-Recipient: rfc822; zoe@example.com\nAction: failed\nStatus: 5.1.1\n"
    to = "--b\nContent-Type: message/rfc822\n\nTo: Ottoline <Ottoline@example.com>\n\nHi"
    for groups in (f"{ours}\n{theirs}", f"{theirs}\n{ours}"):
        said = heard(report(groups, to)).bounce
        assert said is not None
        assert (said.address, said.status, said.alone) == ("ottoline@example.com", "5.0.0", False)
    delivered = theirs.replace("failed", "delivered").replace("5.1.1", "2.0.0")
    said = heard(report(f"{ours}\n{delivered}", to.replace("Ottoline", "Zoe"))).bounce
    assert said is not None
    assert (said.address, said.action) == ("zoe@example.com", "delivered")


@pytest.mark.parametrize(
    ("sender", "by_server"),
    [
        ('"The Old Postmaster House" <stay@example.com>', False),
        ("Jo (postmaster) <jo@example.com>", False),
        ("Mail Delivery Subsystem <MAILER-DAEMON@mx.example.com>", True),
        ("MAILER-DAEMON (Mail Delivery System)", True),
        ("postmaster@example.com", True),
    ],
)
def test_a_house_may_be_called_like_a_mail_server(sender: str, by_server: bool) -> None:
    said = heard(f"From: {sender}\nSubject: The desk\n\nThe darker one.".encode())
    assert bool(said.automatic) is by_server
