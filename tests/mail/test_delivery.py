"""Handing over: what a server's answers lead to, what an email waits for, what stays the same at each try."""

from __future__ import annotations

import smtplib
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.mail import EmailMultiAlternatives
from django.utils import timezone

from shopdesk.base import blobs
from shopdesk.base import work as works
from shopdesk.mail import claims, delivery, links
from shopdesk.mail.actions import Enclose, Person, again, readdress
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.message import message
from shopdesk.mail.models import Email
from shopdesk.mail.queries import to_send

NO_SUCH_USER = smtplib.SMTPRecipientsRefused({"ottoline@example.com": (550, b"5.1.1 no such\r\nuser")})
FULL_FOR_NOW = smtplib.SMTPRecipientsRefused({"ottoline@example.com": (452, b"mailbox full")})


def due_now() -> None:
    """Time passes until everything that waits is due."""
    Email.objects.filter(state="waiting").update(due_at=timezone.now() - timedelta(seconds=1))
    Email.objects.filter(state="under way").update(lease_until=timezone.now() - timedelta(seconds=1))


def fresh(email: Email) -> Email:
    return Email.objects.get(pk=email.pk)


def html_of(letter: Any) -> str:
    return str(letter.alternatives[0].content)


def test_what_is_due_goes_out_once_through_one_line(note: Any, server: Any) -> None:
    emails = [note(words=f"number {n}") for n in range(4)]
    note(due_at=timezone.now() + timedelta(hours=1))
    assert deliver_all() == 4
    assert deliver_all() == 0
    assert len(server.taken) == 4
    assert server.opened == 1
    for email in map(fresh, emails):
        assert (email.state, email.trouble, email.lease) == ("done", "", None)
        assert email.done_at is not None
        assert email.text
        assert email.html
    assert [letter.to for letter in server.taken] == [["ottoline@example.com"]] * 4


def test_a_refusal_is_the_end_and_says_whose(note: Any, server: Any) -> None:
    email = note()
    server.answers = [NO_SUCH_USER]
    deliver_all()
    gone = fresh(email)
    assert gone.state == "failed"
    assert "550 5.1.1 no such user" in gone.trouble
    assert gone.trouble != "550 5.1.1 no such user"  # plain words come first
    due_now()
    assert deliver_all() == 0
    again(gone)
    assert deliver_all() == 1
    assert server.taken[0].extra_headers["Message-ID"] == email.message_id


def test_the_others_go_out_past_one_that_is_refused(note: Any, server: Any) -> None:
    note()
    note(to=Person("Zoë", "zoe@example.com"))
    server.answers = [NO_SUCH_USER]
    assert deliver_all() == 1
    assert server.taken[0].to == ["zoe@example.com"]


@pytest.mark.parametrize(
    "answer",
    [
        FULL_FOR_NOW,
        smtplib.SMTPDataError(451, b"greylisted, come back"),
        smtplib.SMTPServerDisconnected("Connection unexpectedly closed"),
        TimeoutError("timed out"),
        OSError(28, "No space left on device"),
    ],
)
def test_trouble_that_may_pass_puts_it_off_with_growing_waits(
    note: Any, server: Any, clock: Any, answer: Exception
) -> None:
    email = note()
    waits = []
    for _ in range(3):
        server.answers = [answer]
        before = clock.now
        deliver_all()
        late = fresh(email)
        assert late.state == "waiting"
        assert late.trouble
        waits.append((late.due_at - before).total_seconds())
        clock.now = late.due_at
    assert 16 <= waits[0] <= 25
    assert waits[0] * 1.2 < waits[1] < waits[2]
    assert deliver_all() == 1
    ids = {(letter.extra_headers["Message-ID"], letter.extra_headers["Date"]) for letter in server.tried}
    assert len(ids) == 1
    assert len({(letter.body, html_of(letter)) for letter in server.tried}) == 1


def test_after_two_days_of_asking_it_is_given_up(note: Any, server: Any, clock: Any) -> None:
    email = note()
    server.always = {"ottoline@example.com": FULL_FOR_NOW}
    clock.forward(days=5)  # it waited for a worker: that is nobody's asking
    began, asked_at = clock.now, []
    while fresh(email).state == "waiting":
        asked_at.append(clock.now)
        assert deliver_all() == 0
        clock.now = max(clock.now, fresh(email).due_at)
    gone = fresh(email)
    assert gone.state == "failed"
    assert gone.trouble.startswith("After two days of trying: ")
    assert "452 mailbox full" in gone.trouble
    assert asked_at[-1] - began == timedelta(days=2)
    assert 12 < len(asked_at) < delivery.MOST_TRIES
    again(gone)
    assert deliver_all() == 0
    assert fresh(email).state == "waiting", "asked anew, it has two days anew"


@pytest.mark.parametrize(
    "answer",
    [smtplib.SMTPDataError(554, b"spam"), smtplib.SMTPSenderRefused(552, b"too large", "x@example.com")],
)
def test_a_no_to_this_message_is_the_end_of_it(note: Any, server: Any, answer: Exception) -> None:
    email = note()
    server.answers = [answer]
    deliver_all()
    assert fresh(email).state == "failed"


def test_a_line_that_breaks_after_a_while_is_opened_again(note: Any, server: Any) -> None:
    for _ in range(5):
        note()
    server.answers = [None, None, smtplib.SMTPServerDisconnected("had enough")]
    assert deliver_all() == 4
    assert server.opened == 2
    due_now()
    assert deliver_all() == 1


def test_killed_after_the_servers_yes_it_goes_out_again_as_the_same(
    note: Any, server: Any, monkeypatch: Any
) -> None:
    class Killed(BaseException):
        pass

    def killed(*args: Any, **kwargs: Any) -> bool:
        raise Killed

    email = note()
    with monkeypatch.context() as patch:
        patch.setattr(claims, "finish", killed)
        with pytest.raises(Killed):
            deliver_all()
    assert fresh(email).state == "under way"
    assert deliver_all() == 0  # its lease has not run out
    due_now()
    assert deliver_all() == 1
    first, second = server.taken
    assert first.extra_headers == second.extra_headers
    assert (first.body, html_of(first)) == (second.body, html_of(second))


def test_killed_before_it_was_handed_over_nothing_is_lost(note: Any, server: Any, template: Any) -> None:
    """The words are kept first: a template that changes meanwhile does not change what went out."""
    email = note(words="as it was")
    (claimed,) = claims.due(1, timedelta(minutes=1))
    delivery._make_words(claimed)
    assert claims.keep_words(claimed)
    template("note", "Subject: another\n\nthing")
    due_now()
    assert deliver_all() == 1
    assert server.taken[0].subject == "About the desk"
    assert fresh(email).tries == 2


def test_who_lost_the_lease_neither_words_nor_ends_it(note: Any, server: Any) -> None:
    email = note()
    (slow,) = claims.due(1, timedelta(seconds=-1))
    assert deliver_all() == 1
    delivery._make_words(slow)
    assert claims.keep_words(slow) is False
    assert claims.give_up(slow, "too late") is False
    assert works.put_off(slow, timedelta(0)) is False
    assert claims.renew(slow, timedelta(minutes=1)) is False
    claims.put_back([slow])
    assert fresh(email).state == "done"
    assert fresh(email).tries == 2


@pytest.mark.parametrize("meanwhile", ["nothing", "under way", "put off", "given up", "done"])
def test_a_yes_that_comes_after_the_lease_counts_all_the_same(
    note: Any, server: Any, clock: Any, meanwhile: str
) -> None:
    """The server stalls; another worker takes the email over, and may have come to another end."""
    email = note()
    (slow,) = claims.due(1, delivery.LEASE)
    delivery._make_words(slow)
    assert claims.keep_words(slow)
    clock.forward(minutes=6)
    if meanwhile != "nothing":
        (quick,) = claims.abandoned(delivery.LEASE)
        if meanwhile == "put off":
            assert works.put_off(quick, timedelta(minutes=1), "451 later")
        elif meanwhile == "given up":
            assert claims.give_up(quick, "554 this came before")
        elif meanwhile == "done":
            assert claims.finish(quick)
    assert claims.finish(slow) is (meanwhile != "done")
    gone = fresh(email)
    assert (gone.state, gone.trouble, gone.lease) == ("done", "", None)
    if meanwhile == "under way":
        assert claims.give_up(quick, "554 this came before") is False, "its ending changes nothing any more"
    clock.forward(hours=1)
    assert deliver_all() == 0
    assert fresh(email).state == "done"


def test_a_late_yes_says_nothing_about_what_is_another_email_by_now(
    note: Any, server: Any, clock: Any
) -> None:
    """The owner has corrected the address meanwhile, or pressed to send it again."""
    corrected, pressed = note(), note(to=Person("Zoë", "zoe@example.com"))
    slow = claims.due(2, delivery.LEASE)
    assert len(claims.keep_all_words([_worded(email) for email in slow])) == 2
    for email in (corrected, pressed):
        Email.objects.filter(pk=email.pk).update(state="failed", lease=None, trouble="550")
    readdress(Email.objects.filter(pk=corrected.pk), Person("Ottoline", "new@example.com"))
    again(fresh(pressed))
    assert [claims.finish(email) for email in slow] == [False, False]
    assert [fresh(email).state for email in (corrected, pressed)] == ["failed", "waiting"]


def _worded(email: Email) -> Email:
    delivery._make_words(email)
    return email


def test_words_of_a_batch_are_kept_but_for_what_was_taken_over(note: Any, server: Any) -> None:
    emails = [note(words=f"number {n}") for n in range(4)]
    batch = claims.due(4, delivery.LEASE)
    Email.objects.filter(pk=emails[1].pk).update(state="done", lease=None)
    kept = claims.keep_all_words([_worded(email) for email in batch])
    assert kept == [emails[0], emails[2], emails[3]]
    assert [bool(fresh(email).worded_at) for email in emails] == [True, False, True, True]
    assert fresh(emails[2]).worded_at == batch[2].worded_at
    assert (fresh(emails[2]).html, fresh(emails[2]).text) == (batch[2].html, batch[2].text)


def test_a_stalling_server_does_not_hand_over_what_somebody_else_has_taken(
    note: Any, server: Any, clock: Any, monkeypatch: Any
) -> None:
    """The first of a batch takes longer than the lease; the others were taken over meanwhile."""
    emails = [note(to=Person(f"Person {n}", f"person{n}@example.com")) for n in range(4)]
    taken = server.send_messages

    def stall(line: Any, letters: Any) -> int:
        if not server.tried:
            server.tried.append(letters[0])
            clock.forward(minutes=6)
            assert deliver_all() == 4, "another worker, while this one waits"
        return int(taken(line, letters))

    monkeypatch.setattr(server, "send_messages", stall)
    assert deliver_all() == 1
    to = [letter.to[0] for letter in server.taken]
    assert sorted(to) == ["person0@example.com", *(email.to_address for email in emails)]
    assert len({letter.extra_headers["Message-ID"] for letter in server.taken}) == 4
    assert [fresh(email).state for email in emails] == ["done"] * 4


def test_an_email_that_kills_its_worker_is_given_up_in_the_end(note: Any, server: Any) -> None:
    email = note()
    Email.objects.update(tries=delivery.MOST_TRIES)
    deliver_all()
    assert fresh(email).state == "failed"
    assert server.tried == []


def test_a_template_that_is_wrong_stops_one_email_and_no_other(note: Any, template: Any, server: Any) -> None:
    template("bad", "Subject: x\n\n{part}", {"part": "{{ name|nonsense }}"})
    bad, missing, odd = note("bad"), note("never-written"), note("odd")
    template(
        "odd",
        "Subject: x\n\n{part}",
        {"part": "{% widthratio 1 0 0 as x %}{{ words|floatformat:page }}{% cycle %}"},
    )
    good = note()
    assert deliver_all() == 1
    assert fresh(good).state == "done"
    for email in (bad, missing, odd):
        assert fresh(email).state == "failed"
        assert fresh(email).trouble


def test_a_bug_in_one_email_does_not_stop_the_others(note: Any, server: Any, monkeypatch: Any) -> None:
    first, second = note(), note()
    real, calls = message, []

    def once_broken(email: Email, *written: Any) -> EmailMultiAlternatives:
        calls.append(email)
        if len(calls) == 1:
            raise RuntimeError("a bug")
        return real(email)

    monkeypatch.setattr(delivery, "message", once_broken)
    assert deliver_all() == 1
    assert fresh(first).state == "failed"
    assert "a bug" in fresh(first).trouble
    assert fresh(second).state == "done"


# -- links -----------------------------------------------------------------------------------------


def test_links_are_put_in_on_the_way_and_kept_nowhere(note: Any, server: Any, monkeypatch: Any) -> None:
    monkeypatch.setitem(links._writers, "door", lambda rest: f"https://shop.example.com/in/KEY&{rest}")
    email = note(page="shopdesk-link:door/26-001/")
    deliver_all()
    letter = server.taken[0]
    assert "Open your page: https://shop.example.com/in/KEY&26-001/\n" in letter.body
    assert 'href="https://shop.example.com/in/KEY&amp;26-001/"' in html_of(letter)
    kept = fresh(email)
    assert "KEY" not in f"{kept.text}{kept.html}{kept.subject}{kept.context}"


def test_a_link_that_leads_nowhere_any_more_ends_it(note: Any, server: Any, monkeypatch: Any) -> None:
    def gone(rest: str) -> str:
        raise LookupError(rest)

    monkeypatch.setitem(links._writers, "door", gone)
    emails = [note(page="shopdesk-link:door/1/"), note(page="shopdesk-link:nobody/1/")]
    deliver_all()
    for email in emails:
        assert fresh(email).state == "failed"
        assert fresh(email).trouble == "The link in it leads nowhere any more."
    assert server.tried == []


# -- what it carries -------------------------------------------------------------------------------

QUOTE = Enclose("Quote 26-001.pdf", "application/pdf", ref="things:1")


def test_it_waits_for_what_it_carries(note: Any, server: Any, bytes_of: dict[str, Any]) -> None:
    email = note(enclose=[QUOTE])
    assert deliver_all() == 0
    assert fresh(email).tries == 0
    bytes_of["1"] = blobs.Blob(b"%PDF-1.7", "application/pdf")
    assert deliver_all() == 1  # nobody said that it is there: the worker looked
    assert server.taken[0].attachments == [("Quote 26-001.pdf", b"%PDF-1.7", "application/pdf")]


def test_a_signal_sends_for_a_worker(
    note: Any,
    server: Any,
    bytes_of: dict[str, Any],
    nudged: list[str],
    django_capture_on_commit_callbacks: Any,
) -> None:
    email = note(enclose=[QUOTE])
    nudged.clear()
    with django_capture_on_commit_callbacks(execute=True):
        blobs.ready.send(sender=None, ref="things:2")
    assert nudged == []
    with django_capture_on_commit_callbacks(execute=True):
        blobs.ready.send(sender=None, ref="things:1")
    assert nudged == ["shopdesk.mail.deliver"]
    assert to_send().filter(pk=email.pk).exists()


def test_what_never_comes_fails_the_email_with_the_reason(
    note: Any, server: Any, bytes_of: dict[str, Any]
) -> None:
    bytes_of["1"] = blobs.Gone("the page could not be set")
    email = note(enclose=[QUOTE])
    deliver_all()
    assert fresh(email).state == "failed"
    assert fresh(email).trouble == "What it should carry is gone: the page could not be set"
    bytes_of["1"] = blobs.Blob(b"%PDF", "application/pdf")
    again(fresh(email))
    assert deliver_all() == 1


def test_bytes_that_were_there_and_are_not_put_it_off(
    note: Any, server: Any, bytes_of: dict[str, Any]
) -> None:
    email = note(enclose=[QUOTE])
    blobs.ready.send(sender=None, ref="things:1")
    deliver_all()
    assert fresh(email).state == "waiting"
    assert fresh(email).tries == 1
    bytes_of["1"] = blobs.Gone("lost")
    due_now()
    deliver_all()
    assert fresh(email).trouble == "What it should carry is gone: lost"


@pytest.mark.parametrize("address", ["nobody", "a b@example.com", "x@example.com\nBcc: y@z", "@x"])
def test_an_address_that_is_none_is_said(note: Any, server: Any, address: str) -> None:
    email = note(to=Person("Ottoline", address))
    deliver_all()
    assert fresh(email).state == "failed"
    assert "“" in fresh(email).trouble
    assert server.tried == []


def test_a_long_run_stops_and_asks_for_another(
    note: Any, server: Any, nudged: list[str], monkeypatch: Any, django_capture_on_commit_callbacks: Any
) -> None:
    for _ in range(3):
        note()
    monkeypatch.setattr(delivery, "_RUN_SECONDS", -1)
    with django_capture_on_commit_callbacks(execute=True):
        assert deliver_all() == 1
    assert nudged == ["shopdesk.mail.deliver"]


def test_the_worker_knows_the_way(note: Any, work: Callable[[], None], mailbox: list[Any]) -> None:
    from shopdesk.celery import app

    app.loader.import_default_modules()
    assert "shopdesk.mail.deliver" in app.tasks
    note()
    work()
    assert [letter.subject for letter in mailbox] == ["About the desk"]
