"""An address that the shop's own mail server knows not to be there is marked as by a report; nothing less
exact than that marks one."""

from __future__ import annotations

import smtplib
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from shopdesk.mail import claims, queries, returned
from shopdesk.mail.actions import Person, again
from shopdesk.mail.delivery import LEASE, deliver_all
from shopdesk.mail.models import DeadAddress, Email
from tests.mail.waiting import bundle_of
from tests.mail.waiting import news as news

ZOE = Person("Zoë", "zoe@example.com")


def refusal(code: int = 550, said: bytes = b"5.1.1 no such user") -> smtplib.SMTPRecipientsRefused:
    return smtplib.SMTPRecipientsRefused({"ottoline@example.com": (code, said)})


def fresh(email: Email) -> Email:
    return Email.objects.get(pk=email.pk)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (550, b"5.1.1 no such user"),
        (550, b"5.1.10 takes no mail"),
        (554, b"5.1.2 no such host"),
        (501, b"5.1.3 bad address"),
        (551, b"5.1.6 moved"),
    ],
)
def test_the_address_is_marked_and_the_email_stands_as_refused(
    note: Any, server: Any, code: int, said: bytes
) -> None:
    """RFC 3463, 3.2."""
    email = note()
    server.answers = [refusal(code, said)]
    assert deliver_all() == 0
    gone = fresh(email)
    assert (gone.state, gone.way, gone.came_back_at) == ("failed", "email", None)
    dead = DeadAddress.objects.get()
    assert (dead.address, dead.email, dead.why) == ("ottoline@example.com", gone, gone.trouble)
    assert f"{code} {said.decode()}" in dead.why
    assert note(words="Later.").way == "tell"
    assert note(to=ZOE).way == "email"


@pytest.mark.parametrize(
    "answer",
    [
        refusal(550, b"no such user"),
        refusal(550, b"5.1.0 Sender address rejected: User unknown"),
        refusal(550, b"5.1.8 sender's host unknown"),
        refusal(550, b"5.2.1 mailbox switched off"),
        refusal(550, b"5.7.1 refused, nothing to do with 5.1.1"),
        refusal(552, b"5.2.2 mailbox full"),
        refusal(450, b"4.1.1 unknown for now"),
        refusal(450, b"5.1.1 of two minds"),
        smtplib.SMTPDataError(550, b"5.1.1 no such user"),
    ],
)
def test_what_does_not_say_so_exactly_marks_none(note: Any, server: Any, answer: Exception) -> None:
    email = note()
    server.answers = [answer]
    deliver_all()
    assert fresh(email).state in ("failed", "waiting")
    assert not DeadAddress.objects.exists()


def test_what_waits_for_it_becomes_words_to_tell(note: Any, server: Any, clock: Any) -> None:
    """Also what the same worker has taken with it; and nobody else's."""
    first, second = note(words="one"), note(words="two", to=Person("O.", "Ottoline@Example.com"))
    other, later = note(to=ZOE), note(words="three", due_at=clock.now + timedelta(days=1))
    server.answers = [refusal()]
    assert deliver_all() == 1
    assert len(server.tried) == 2
    assert [fresh(one).state for one in (first, other)] == ["failed", "done"]
    for one in (second, later):
        told = fresh(one)
        assert (told.way, told.state, told.tries, told.lease) == ("tell", "waiting", 0, None)
    assert set(queries.to_tell()) == {second, later}
    clock.forward(days=2)
    assert deliver_all() == 0
    assert DeadAddress.objects.count() == 1


def test_what_was_to_go_out_in_it_becomes_words_too(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 3)
    server.answers = [refusal()]
    assert deliver_all() == 0
    first, *others = map(fresh, emails)
    assert (first.state, first.way) == ("failed", "email")
    assert {(one.way, one.state, one.bundle_id) for one in others} == {("tell", "waiting", None)}


def test_the_shop_s_own_address_is_never_given_up(note: Any, server: Any) -> None:
    emails = [note(to=Person("The shop", "Hello@tidewell.example.com")) for _ in range(3)]
    server.always = {"": refusal()}
    assert deliver_all() == 0
    assert [fresh(email).state for email in emails] == ["failed"] * 3
    assert len(server.tried) == 3
    assert not DeadAddress.objects.exists()


def test_a_worker_that_lost_its_lease_marks_nothing(note: Any, server: Any, clock: Any) -> None:
    note()
    (mine,) = claims.due(1, LEASE)
    clock.forward(seconds=LEASE.total_seconds() + 1)
    (theirs,) = claims.abandoned(LEASE)
    assert not returned.refused(mine, "No such user.", "5.1.1")
    assert not DeadAddress.objects.exists()
    assert fresh(theirs).state == "under way"
    assert returned.refused(theirs, "No such user.", "5.1.1")
    assert DeadAddress.objects.get().since == timezone.now()


def test_one_that_is_asked_again_goes_all_the_same(note: Any, server: Any) -> None:
    email = note()
    server.answers = [refusal(), refusal()]
    deliver_all()
    again(fresh(email))
    assert deliver_all() == 0
    assert (fresh(email).state, DeadAddress.objects.count()) == ("failed", 1)
    assert returned.alive("ottoline@example.com") == 0
    again(fresh(email))
    assert deliver_all() == 1


def test_an_address_that_is_there_again_has_its_own_two_days(note: Any, server: Any, clock: Any) -> None:
    email = note()
    server.answers = [refusal(450, b"4.2.1 try later")]
    deliver_all()
    clock.forward(hours=40)
    server.answers = [refusal(450, b"4.2.1 try later")]
    deliver_all()
    DeadAddress.objects.create(address="ottoline@example.com", since=clock.now, why="5.1.1")
    Email.objects.filter(pk=email.pk).update(way="tell")
    clock.forward(days=3)
    assert returned.alive("ottoline@example.com") == 1
    server.answers = [refusal(450, b"4.7.1 greylisted")]
    assert deliver_all() == 0
    assert fresh(email).state == "waiting"
    clock.forward(minutes=1)
    assert deliver_all() == 1
