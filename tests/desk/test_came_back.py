"""What came back: the email, the address, and what the owner does with either."""

from __future__ import annotations

import smtplib
from collections.abc import Callable
from typing import Any

import pytest
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client as Browser

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.conversation.actions import say_to_client, say_to_shop
from shopdesk.conversation.models import Message
from shopdesk.mail import queries, returned
from shopdesk.mail.models import Arrival, DeadAddress, Email
from tests.desk.walking import page, press
from tests.mail.arriving import came, dsn

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]
Verdict = Arrival.Verdict


@pytest.fixture
def question(commission: Commission, as_owner: Who, work: Callable[[], None], mailoutbox: Any) -> Email:
    say_to_client(commission, "Shall I keep the knobs?", as_owner)
    work()
    return Email.objects.get(thread=f"commission {commission.pk}")


def test_an_address_that_is_not_there(
    commission: Commission, question: Email, as_owner: Who, desk: Browser, work: Callable[[], None],
    mailoutbox: list[Any],
) -> None:  # fmt: skip
    """RFC 3463, 3.2: 5.1.1 is a mailbox that does not exist."""
    arrival = came(dsn(question))
    assert arrival.verdict == Verdict.BOUNCE
    question.refresh_from_db()
    assert question.state == "failed"
    assert question.came_back_at is not None
    assert question.trouble.startswith("It came back: ")
    dead = DeadAddress.objects.get()
    assert (dead.address, dead.email_id) == ("ottoline@example.com", question.pk)
    assert not Message.objects.filter(came_by="mail").exists()
    today = page(desk, "today")
    assert "<b>Ottoline Brask</b> did not get an email." in today
    assert today.count("ame back") == 1
    for said in (page(desk, "commission", commission.number), page(desk, "client", commission.number)):
        assert "Nothing arrives at ottoline@example.com" in said
        assert "They can be written to again" in said
    emails = page(desk, "emails")
    assert "Came back" in emails
    assert "Did not go out" not in emails
    # What is written now waits to be told, with the phone.
    say_to_client(commission, "Then I call you.", as_owner)
    tell = queries.to_tell().get()
    assert (tell.to_address, tell.context["phone"]) == ("ottoline@example.com", "555-0131")
    work()
    assert len(mailoutbox) == 1
    said = press(desk, "address-alive", address="ottoline@example.com", number=commission.number)
    assert "One that waited is on its way." in said
    assert "Nothing arrives at" not in said
    assert "Emails go to that address already." in press(
        desk, "address-alive", address="ottoline@example.com"
    )
    work()
    assert len(mailoutbox) == 2
    press(desk, "email-again", question.pk)
    work()
    assert len(mailoutbox) == 3
    question.refresh_from_db()
    assert question.state == "done"
    assert not Email.objects.filter(came_back_at__isnull=False).exists()


@pytest.mark.parametrize("status", ["5.2.2", "4.2.2", "5.7.1", "5.0.0", "5.1.7", "5.1.8"])
def test_what_is_not_about_the_address_marks_the_email_alone(
    commission: Commission, question: Email, status: str
) -> None:
    """RFC 3463: X.2.2 is a full mailbox, 5.1.7 and 5.1.8 are about the sender's address."""
    came(dsn(question, status, diagnostic=f"550 {status} not now"))
    question.refresh_from_db()
    assert question.state == "failed"
    assert not DeadAddress.objects.exists()


@pytest.mark.parametrize(
    ("status", "diagnostic"),
    [("5.0.0", "550 5.1.1 User unknown"), ("5.5.0", "550 5.1.10 no"), ("5.0.0", "550 No such user here")],
)
def test_an_exact_code_in_what_the_server_said_is_the_one_that_counts(
    commission: Commission, question: Email, status: str, diagnostic: str
) -> None:
    came(dsn(question, status, diagnostic=diagnostic))
    assert DeadAddress.objects.get().email_id == question.pk


def test_one_of_several_whom_it_was_passed_on_to_is_not_the_address(
    commission: Commission, question: Email
) -> None:
    several = dsn(question, recipient="zoe@example.com").replace(
        b"Final-Recipient: RFC822;zoe",
        b"Final-Recipient: RFC822;zara@example.com\r\nAction: delivered\r\nStatus: 2.0.0\r\n\r\n"
        b"Final-Recipient: RFC822;zoe",
    )
    came(several)
    question.refresh_from_db()
    assert question.state == "failed"
    assert not DeadAddress.objects.exists()


def test_whom_it_was_passed_on_to_is_another_address(commission: Commission, question: Email) -> None:
    """Her mailbox keeps it and passes it on to an old one, whose server writes to whoever sent it."""
    came(dsn(question, recipient="old-work@elsewhere.example"))
    question.refresh_from_db()
    assert question.state == "failed"
    assert not DeadAddress.objects.exists()


def test_a_delay_is_a_note_and_no_more(commission: Commission, question: Email) -> None:
    """RFC 3464, 2.3.3: "delayed" is no failure."""
    arrival = came(dsn(question, "4.4.7", "delayed", diagnostic="451 4.4.7 still trying"))
    assert arrival.verdict == Verdict.BOUNCE
    question.refresh_from_db()
    assert question.state == "done"
    assert question.came_back_at is None
    assert question.trouble.startswith("It is late: ")


def test_a_bounce_that_names_none_of_ours_does_nothing(commission: Commission, question: Email) -> None:
    arrival = came(dsn(question, message_id="<made-up@example.com>", recipient="stranger@example.com"))
    assert arrival.verdict == Verdict.AUTOMATIC
    question.refresh_from_db()
    assert question.state == "done"
    assert not DeadAddress.objects.exists()


def test_a_late_report_of_the_try_before_changes_nothing(
    commission: Commission, question: Email, desk: Browser
) -> None:
    came(dsn(question, "5.2.2"))
    press(desk, "email-again", question.pk)
    came(dsn(question, "5.1.1"))
    question.refresh_from_db()
    assert (question.state, question.came_back_at) == ("waiting", None)
    assert not DeadAddress.objects.exists()


def test_a_report_that_is_quicker_than_the_mark_waits_a_minute(
    commission: Commission, question: Email
) -> None:
    Email.objects.filter(pk=question.pk).update(state="under way")
    arrival = came(dsn(question))
    assert (arrival.state, arrival.verdict) == ("waiting", "")
    question.refresh_from_db()
    assert question.state == "under way"


def test_what_waits_for_a_dead_address_becomes_words_to_tell(
    commission: Commission, question: Email, as_owner: Who
) -> None:
    say_to_client(commission, "Waiting.", as_owner)
    waiting = Email.objects.exclude(pk=question.pk).get()
    came(dsn(question))
    waiting.refresh_from_db()
    assert (waiting.way, waiting.state) == ("tell", "waiting")


def test_a_corrected_address_takes_what_came_back_and_what_was_to_be_told(
    commission: Commission, question: Email, as_owner: Who, desk: Browser, work: Callable[[], None],
    mailoutbox: list[Any],
) -> None:  # fmt: skip
    came(dsn(question))
    say_to_client(commission, "To be told.", as_owner)
    kept = {"name": "Ottoline Brask", "email": "otto@example.com", "phone": "555-0131", "address": ""}
    said = press(desk, "client", commission.number, **kept)
    assert "2 emails that have not gone out are for the new address." in said
    assert not queries.to_tell().exists()
    press(desk, "email-again", question.pk)
    work()
    assert [mail.to for mail in mailoutbox[1:]] == [["otto@example.com"]] * 2
    assert DeadAddress.objects.count() == 1, "the old one is as dead as before"


def test_an_address_that_the_shop_s_own_server_refuses_is_marked_too(
    commission: Commission, as_owner: Who, desk: Browser, work: Callable[[], None], monkeypatch: Any,
    mailoutbox: list[Any],
) -> None:  # fmt: skip
    def refuse(line: Any, letters: Any) -> int:
        raise smtplib.SMTPRecipientsRefused({letters[0].to[0]: (550, b"5.1.1 no such user")})

    say_to_client(commission, "Shall I keep the knobs?", as_owner)
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(EmailBackend, "send_messages", refuse)
        work()
    emails = page(desk, "emails")
    assert "Did not go out" in emails
    assert "550 5.1.1 no such user" in emails
    assert "Nothing arrives at ottoline@example.com" in page(desk, "client", commission.number)
    say_to_client(commission, "Then I call you.", as_owner)
    assert queries.to_tell().get().context["phone"] == "555-0131"
    press(desk, "address-alive", address="ottoline@example.com")
    work()
    assert len(mailoutbox) == 1


def test_the_shop_s_own_address_is_never_given_up(
    commission: Commission, work: Callable[[], None], as_client: Who, mailoutbox: Any
) -> None:
    say_to_shop(commission, "Hello", as_client)
    work()
    told = Email.objects.get(to_address="hello@tidewell.example.com")
    came(dsn(told))
    told.refresh_from_db()
    assert told.state == "failed"
    assert not DeadAddress.objects.exists()


def test_two_reports_of_one_email_are_one_grave(commission: Commission, question: Email) -> None:
    came(dsn(question))
    first = DeadAddress.objects.get()
    came(dsn(question, "5.1.2"))
    assert DeadAddress.objects.get() == first
    assert returned.alive("Ottoline@Example.com ") == 0
    assert not DeadAddress.objects.exists()


def test_what_came_back_can_be_told_instead(
    commission: Commission, question: Email, desk: Browser, work: Callable[[], None], mailoutbox: list[Any]
) -> None:
    came(dsn(question))
    said = press(desk, "email-tell", question.pk)
    assert "It stands under what to tell Ottoline Brask." in said
    assert "Came back" not in said
    tell = queries.to_tell().get()
    assert tell.pk == question.pk
    assert "Shall I keep the knobs?" in said
    assert "did not fail" in press(desk, "email-tell", question.pk)
    work()
    assert len(mailoutbox) == 1
    press(desk, "tell-done", question.pk)
    question.refresh_from_db()
    assert (question.state, question.way) == ("done", "tell")
