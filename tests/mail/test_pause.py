"""A mail server that cannot be used stops the line; an email that breaks the line does not."""

from __future__ import annotations

import smtplib
import socket
import ssl
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest

from shopdesk.mail import delivery, pause
from shopdesk.mail.actions import Person
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.models import Email, Pause

REFUSED = ConnectionRefusedError(111, "Connection refused")
DROPPED = smtplib.SMTPServerDisconnected("Connection unexpectedly closed")
POISON = "poison@example.com"


def fresh(email: Email) -> Email:
    return Email.objects.get(pk=email.pk)


def people(note: Any, count: int) -> list[Email]:
    return [note(to=Person(f"Person {n}", f"person{n}@example.com")) for n in range(count)]


def untouched(email: Email) -> bool:
    now = fresh(email)
    return (now.state, now.tries, now.put_off_since, now.lease) == ("waiting", 0, None, None)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (REFUSED, "Nothing answers at "),
        (socket.gaierror(-2, "Name or service not known"), "is not found"),
        (ssl.SSLCertVerificationError("self-signed certificate"), "certificate"),
        (ssl.SSLError("wrong version number"), "no secure connection"),
        (smtplib.SMTPNotSupportedError("STARTTLS extension not supported"), "does not offer"),
        (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), "user name and password"),
        (smtplib.SMTPConnectError(421, b"too busy"), "cannot be used now"),
        (smtplib.SMTPServerDisconnected("closed"), "breaks the connection off"),
        (TimeoutError("timed out"), "does not answer in time"),
        (OSError(113, "No route to host"), "cannot be reached"),
    ],
)
def test_a_server_that_cannot_be_used_stops_the_line(
    note: Any, server: Any, clock: Any, answer: Exception, words: str
) -> None:
    emails = people(note, 20)
    server.doors = [answer] * 100
    assert deliver_all() == 0
    assert all(untouched(email) for email in emails)
    assert len(server.doors) == 99
    standing = pause.standing()
    assert standing is not None
    assert words in standing.why
    assert "Error" not in standing.why
    assert standing.since == clock.now
    assert timedelta(seconds=16) <= standing.until - clock.now <= timedelta(seconds=24)
    clock.forward(seconds=10)
    assert deliver_all() == 0
    assert len(server.doors) == 99, "nothing is claimed while it holds"


@pytest.mark.parametrize(
    "answer",
    [
        smtplib.SMTPSenderRefused(550, b"5.7.1 sender not allowed", "hello@tidewell.example.com"),
        smtplib.SMTPSenderRefused(451, b"4.3.0 try later", "hello@tidewell.example.com"),
        smtplib.SMTPSenderRefused(530, b"authentication needed", "hello@tidewell.example.com"),
        smtplib.SMTPDataError(421, b"closing"),
        smtplib.SMTPRecipientsRefused({"x@example.com": (421, b"closing")}),
    ],
)
@pytest.mark.parametrize("count", [1, 2, 12])
def test_what_the_server_says_of_itself_in_the_middle_of_an_email_stops_it_too(
    note: Any, server: Any, clock: Any, answer: Exception, count: int
) -> None:
    emails = people(note, count)
    server.always = {"": answer}
    assert deliver_all() == 0
    assert pause.standing() is not None
    assert all(untouched(email) for email in emails)
    assert len(server.tried) == min(count, delivery.BROKEN_IN_A_ROW)


def test_waits_grow_to_half_an_hour_and_one_email_asks(note: Any, server: Any, clock: Any) -> None:
    emails = people(note, 5)
    server.doors = [REFUSED] * 100
    deliver_all()
    waits = []
    for asked in range(1, 12):
        standing = pause.standing()
        assert standing is not None
        waits.append((standing.until - clock.now).total_seconds())
        clock.now = standing.until
        assert deliver_all() == 0
        assert len(server.doors) == 99 - asked
    assert waits[0] < 25
    assert 1400 < waits[-1] <= 2200
    assert all(late > early for early, late in pairwise(waits[:7]))
    first = Pause.objects.get()
    assert first.failures == 12
    assert all(untouched(email) for email in emails)
    server.doors = []
    clock.now = first.until
    assert deliver_all() == 5
    assert pause.standing() is None


def test_only_one_worker_asks(note: Any, server: Any, clock: Any) -> None:
    people(note, 3)
    server.doors = [REFUSED]
    deliver_all()
    standing = pause.standing()
    assert standing is not None
    clock.now = standing.until
    mine, theirs = pause.standing(), pause.standing()
    assert mine is not None
    assert theirs is not None
    assert pause.probe(mine, delivery.LEASE)
    assert not pause.probe(theirs, delivery.LEASE)
    assert deliver_all() == 0, "another worker asks at this moment"
    assert server.tried == []
    clock.forward(seconds=delivery.LEASE.total_seconds() + 1)  # it died of it
    assert deliver_all() == 3


def test_a_trial_that_finds_nothing_to_try_with_waits_for_the_next_email(
    note: Any, server: Any, clock: Any
) -> None:
    first = note()
    server.doors = [REFUSED]
    deliver_all()
    Email.objects.filter(pk=first.pk).delete()
    clock.forward(hours=1)
    assert deliver_all() == 0
    assert pause.standing() is not None
    note()
    assert deliver_all() == 1
    assert pause.standing() is None


def test_the_owner_need_not_wait(note: Any, server: Any, clock: Any, nudged: list[str]) -> None:
    people(note, 2)
    server.doors = [REFUSED] * 3
    for _ in range(3):
        deliver_all()
        pause.try_now()
    assert deliver_all() == 2


def test_another_workers_trouble_does_not_stop_a_line_that_works(
    note: Any, server: Any, clock: Any, monkeypatch: Any
) -> None:
    """Too many connections at once, say: one worker is turned away, the other goes on."""
    people(note, 20)
    taken = server.send_messages

    def one_turned_away(line: Any, letters: Any) -> int:
        if len(server.taken) == 3:
            pause.begin("too many connections")
        clock.forward(seconds=1)
        return int(taken(line, letters))

    monkeypatch.setattr(server, "send_messages", one_turned_away)
    assert deliver_all() == 20
    assert pause.standing() is None


def test_a_line_dropped_once_is_only_opened_again(note: Any, server: Any, clock: Any) -> None:
    emails = people(note, 5)
    server.answers = [None, None, DROPPED]
    assert deliver_all() == 4
    assert server.opened == 2
    assert pause.standing() is None
    dropped = fresh(emails[2])
    assert (dropped.state, dropped.tries) == ("waiting", 1)
    assert dropped.due_at > clock.now
    clock.forward(minutes=1)
    assert deliver_all() == 1


def test_several_in_a_row_that_break_off_are_the_servers_fault(note: Any, server: Any, clock: Any) -> None:
    emails = people(note, 12)
    server.answers = [None, None, DROPPED, DROPPED, DROPPED]
    assert deliver_all() == 2
    assert len(server.tried) == 5
    assert pause.standing() is not None
    assert all(untouched(email) for email in emails[2:])
    clock.forward(minutes=1)
    assert deliver_all() == 10


@pytest.mark.parametrize("answer", [DROPPED, smtplib.SMTPDataError(421, b"4.7.0 looks odd"), TimeoutError()])
def test_a_poisoned_email_blocks_nobody_and_is_given_up(
    note: Any, server: Any, clock: Any, answer: Exception
) -> None:
    """Its content always makes the server drop the line. For three days others are written every hour."""
    poisoned = note(to=Person("Poison", POISON))
    server.always = {POISON: answer}
    waited = []
    for hour in range(80):
        others = people(note, 2)
        for _ in range(20):
            deliver_all()
            if all(fresh(email).state == "done" for email in others):
                break
            clock.forward(minutes=2)
        assert all(fresh(email).state == "done" for email in others), hour
        waited.append(max(fresh(email).done_at - email.made_at for email in others))  # type: ignore[operator]
        clock.forward(hours=1)
    assert max(waited) <= timedelta(minutes=40)
    assert sorted(waited)[len(waited) * 3 // 4] == timedelta(0), "mostly nobody waits at all"
    gone = fresh(poisoned)
    assert gone.state == "failed"
    assert gone.trouble.startswith("After two days of trying")


def test_poisoned_emails_in_front_let_the_others_pass(note: Any, server: Any, clock: Any) -> None:
    """As many as it takes to stop the line: the trial begins with another email each time."""
    bad = [note(to=Person("Poison", f"poison{n}@example.com")) for n in range(4)]
    server.always = {email.to_address: DROPPED for email in bad}
    clock.forward(seconds=1)
    good = people(note, 6)
    clock.forward(seconds=1)
    assert deliver_all() == 0
    assert pause.standing() is not None
    clock.forward(minutes=1)
    assert deliver_all() == 6
    assert pause.standing() is None
    assert all(fresh(email).state == "done" for email in good)
    assert all(fresh(email).state == "waiting" for email in bad)


def test_an_outage_of_a_week_costs_no_email_a_try(note: Any, server: Any, clock: Any) -> None:
    emails = people(note, 4)
    server.always = {"": smtplib.SMTPDataError(421, b"down for the week")}
    for _ in range(7 * 24):
        deliver_all()
        clock.forward(hours=1)
    assert all(untouched(email) for email in emails)
    server.always = {}
    assert deliver_all() == 4


@pytest.mark.parametrize(
    ("answer", "state"),
    [
        (smtplib.SMTPRecipientsRefused({"x": (451, b"4.3.0 lookup failed")}), "waiting"),
        (smtplib.SMTPRecipientsRefused({"x": (550, b"5.7.1 relaying denied")}), "failed"),
    ],
)
def test_a_server_that_turns_everything_away_is_not_asked_for_every_email(
    note: Any, server: Any, clock: Any, answer: Exception, state: str
) -> None:
    emails = people(note, 60)
    server.always = {"": answer}
    deliver_all()
    assert pause.standing() is not None
    assert len(server.tried) == delivery.NO_IN_A_ROW
    assert sum(untouched(email) for email in emails) == 60 - delivery.NO_IN_A_ROW
    assert {fresh(email).state for email in emails if not untouched(email)} == {state}
    clock.forward(minutes=1)
    deliver_all()
    assert len(server.tried) == delivery.NO_IN_A_ROW + delivery.NO_TO_A_TRIAL


def test_a_refusal_in_a_trial_says_that_the_server_is_there(note: Any, server: Any, clock: Any) -> None:
    email = note()
    server.doors = [REFUSED]
    deliver_all()
    clock.forward(minutes=1)
    server.answers = [smtplib.SMTPRecipientsRefused({"x": (550, b"5.1.1 unknown")})]
    deliver_all()
    assert fresh(email).state == "failed"
    assert pause.standing() is None


def test_a_run_that_is_broken_off_leaves_nothing_under_way(note: Any, server: Any, monkeypatch: Any) -> None:
    class Stopped(BaseException):
        pass

    emails = people(note, 10)
    taken = server.send_messages

    def stop(line: Any, letters: Any) -> int:
        if len(server.taken) == 2:
            raise Stopped
        return int(taken(line, letters))

    monkeypatch.setattr(server, "send_messages", stop)
    with pytest.raises(Stopped):
        deliver_all()
    states = [fresh(email).state for email in emails]
    # The one in hand may have been taken: its lease has to run out.
    assert states == ["done", "done", "under way", *["waiting"] * 7]
    assert all(untouched(email) for email in emails[3:])
