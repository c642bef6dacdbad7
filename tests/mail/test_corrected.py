"""Another address for what has not gone out: whatever a worker was about, nothing more goes to the old one
but what is being handed over in that very moment."""

from __future__ import annotations

import smtplib
from collections.abc import Callable
from typing import Any

import pytest

from shopdesk.base import work as works
from shopdesk.mail import bundles, claims, delivery, pause
from shopdesk.mail.actions import Person, again, change_sender, readdress
from shopdesk.mail.delivery import LEASE, deliver_all
from shopdesk.mail.models import DeadAddress, Email, Turn
from shopdesk.mail.words import words
from tests.mail.conftest import OTTOLINE, SHOP
from tests.mail.waiting import DROPPED, FULL_FOR_NOW, UNWANTED, ZOE, bundle_of, fresh, states
from tests.mail.waiting import news as news

RIGHT = Person("Ottoline Brask", "right@example.com")
GREY = smtplib.SMTPRecipientsRefused({"x": (451, b"4.7.1 greylisted")})


def addresses(server: Any) -> list[str]:
    return [letter.to[0] for letter in server.taken]


def corrected(email: Email) -> None:
    assert readdress(Email.objects.filter(pk=email.pk), RIGHT) == 1


# -- a worker has it -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("minutes", [0, 6])
def test_its_worker_died(note: Any, server: Any, clock: Any, minutes: int) -> None:
    email = note()
    claims.due(1, LEASE)
    corrected(email)
    clock.forward(minutes=minutes)
    assert deliver_all() == 1
    assert addresses(server) == ["right@example.com"]
    assert (fresh(email).state, fresh(email).to_address) == ("done", "right@example.com")


@pytest.mark.parametrize(
    "ending",
    [
        lambda email: claims.put_back([email]),
        lambda email: works.put_off(email, LEASE, "451 later"),
        lambda email: claims.give_up(email, "550 no"),
        lambda email: claims.not_needed(email),
        lambda email: claims.keep_all_words([email]),
        lambda email: claims.renew(email, LEASE),
        lambda email: claims.finish(email),
    ],
)
def test_whatever_its_worker_writes_down_changes_nothing(
    note: Any, server: Any, clock: Any, ending: Callable[[Email], Any]
) -> None:
    email = note()
    (taken,) = claims.due(1, LEASE)
    delivery._make_words(taken)
    assert claims.keep_words(taken)
    assert claims.still_mine(taken)
    corrected(email)
    assert not claims.still_mine(taken)
    before = Email.objects.values().get()
    assert not ending(taken)
    assert Email.objects.values().get() == before
    assert deliver_all() == 1
    assert addresses(server) == ["right@example.com"]


def meanwhile(server: Any, monkeypatch: Any, act: Callable[[], Any]) -> None:
    """`act` while the first email is being handed over."""
    taken, begun = server.send_messages, False

    def hand_over(line: Any, letters: Any) -> int:
        nonlocal begun
        if not begun:
            begun = True
            act()
        return int(taken(line, letters))

    monkeypatch.setattr(server, "send_messages", hand_over)


def test_taken_with_others_it_goes_to_the_new_one(note: Any, server: Any, monkeypatch: Any) -> None:
    note(to=ZOE)
    second = note()
    meanwhile(server, monkeypatch, lambda: corrected(second))
    assert deliver_all() == 2
    assert addresses(server) == [ZOE.address, "right@example.com"]


@pytest.mark.parametrize("answer", [None, UNWANTED, FULL_FOR_NOW, DROPPED])
def test_in_that_very_moment_it_goes_to_the_new_one_too(
    note: Any, server: Any, clock: Any, monkeypatch: Any, answer: Exception | None
) -> None:
    email = note()
    server.answers = [answer]
    meanwhile(server, monkeypatch, lambda: corrected(email))
    deliver_all()
    clock.forward(minutes=1)
    deliver_all()
    old = [] if answer else [OTTOLINE.address]
    assert addresses(server) == [*old, "right@example.com"]
    assert (fresh(email).state, fresh(email).trouble, fresh(email).tries) == ("done", "", 1)


def test_an_address_that_is_not_there_is_not_marked_by_what_has_another(
    note: Any, server: Any, monkeypatch: Any
) -> None:
    """Its report was of the old one."""
    email = note()
    server.answers = [smtplib.SMTPRecipientsRefused({"x": (550, b"5.1.1 no such user")})]
    meanwhile(server, monkeypatch, lambda: corrected(email))
    deliver_all()
    assert addresses(server) == ["right@example.com"]
    assert not DeadAddress.objects.filter(address="right@example.com").exists()


def test_while_the_line_stands_still(note: Any, server: Any, clock: Any) -> None:
    email = note()
    server.doors = [ConnectionRefusedError(111, "Connection refused")]
    deliver_all()
    assert pause.standing()
    corrected(email)
    clock.forward(hours=1)
    deliver_all()
    assert addresses(server) == ["right@example.com"]


def test_without_an_address_it_is_told_and_its_worker_changes_nothing(
    note: Any, server: Any, clock: Any
) -> None:
    email = note()
    (taken,) = claims.due(1, LEASE)
    readdress(Email.objects.all(), Person("Ottoline", ""), "555-0123")
    assert not claims.finish(taken)
    clock.forward(minutes=6)
    assert deliver_all() == 0
    told = fresh(email)
    assert (told.way, told.state, told.lease, told.tries) == ("tell", "waiting", None, 0)


def test_another_name_alone_takes_nothing_from_its_worker(note: Any) -> None:
    email = note()
    (taken,) = claims.due(1, LEASE)
    assert readdress(Email.objects.all(), Person("O. Brask", OTTOLINE.address)) == 0
    assert claims.still_mine(taken)
    assert fresh(email).to_name == "O. Brask"


# -- a worker has what others go out in ----------------------------------------------------------------------


def under_way(news: Any, clock: Any) -> tuple[Email, Email, list[Email]]:
    """Three in one that is ready to be handed over: the one, and of the others one and the rest."""
    emails = bundle_of(news, clock, 3)
    (carrier,) = bundles.next_one(LEASE)
    assert bundles.prepare(carrier)
    first, *rest = [email for email in emails if email.pk != carrier.pk]
    return carrier, first, rest


def bodies(server: Any) -> dict[str, str]:
    return {letter.to[0]: letter.body for letter in server.taken}


def test_one_that_was_to_go_out_in_it(news: Any, server: Any, clock: Any) -> None:
    """Two clients may share a mailbox: the one says that theirs is another."""
    carrier, member, rest = under_way(news, clock)
    corrected(member)
    assert not claims.still_mine(carrier)
    assert not claims.finish(carrier, [fresh(member)])
    assert deliver_all() == 2
    said = bodies(server)
    assert set(said) == {OTTOLINE.address, "right@example.com"}
    assert member.context["what"] in said["right@example.com"]
    assert [one.context["what"] in said[OTTOLINE.address] for one in (carrier, member, *rest)] == [1, 0, 1]
    assert states(carrier, member, *rest) == ["done"] * 3


def test_the_one_that_carries_them(news: Any, server: Any, clock: Any) -> None:
    """Its day is free for those that stay."""
    carrier, member, rest = under_way(news, clock)
    corrected(carrier)
    assert not claims.finish(carrier, [fresh(member)])
    assert deliver_all() == 2
    said = bodies(server)
    assert set(said) == {OTTOLINE.address, "right@example.com"}
    assert [one.context["what"] in said["right@example.com"] for one in (carrier, member, *rest)] == [1, 0, 0]
    assert [one.context["what"] in said[OTTOLINE.address] for one in (carrier, member, *rest)] == [0, 1, 1]
    turns = Turn.objects.values_list("address", "email__to_address")
    assert {tuple(turn) for turn in turns} == {(address, address) for address in said}


def test_all_of_them(news: Any, server: Any, clock: Any) -> None:
    carrier, member, rest = under_way(news, clock)
    assert readdress(Email.objects.all(), RIGHT) == 3
    assert not claims.finish(carrier, [fresh(member)])
    assert deliver_all() == 1
    assert addresses(server) == ["right@example.com"]
    assert states(carrier, member, *rest) == ["done"] * 3


def test_what_its_worker_attached_in_that_moment_stays_behind(news: Any, server: Any, clock: Any) -> None:
    """It may be another client's, whose address was mistyped for this one's."""
    first, second = bundle_of(news, clock, 2)
    (carrier,) = bundles.next_one(LEASE)
    corrected(carrier)
    bundles._attach(carrier)
    other = second if carrier.pk == first.pk else first
    assert fresh(other).bundle_id == carrier.pk
    deliver_all()
    said = bodies(server)
    assert set(said) == {OTTOLINE.address, "right@example.com"}
    assert other.context["what"] not in said["right@example.com"]
    assert states(carrier, other) == ["done", "done"]


# -- the new one has its own two days ------------------------------------------------------------------------


def test_what_was_put_off_begins_anew(note: Any, server: Any, clock: Any) -> None:
    email = note()
    server.always = {OTTOLINE.address: FULL_FOR_NOW}
    for _ in range(46):
        deliver_all()
        clock.forward(hours=1)
    assert fresh(email).tries > 5
    corrected(email)
    anew = fresh(email)
    assert (anew.tries, anew.put_off_since, anew.trouble, anew.due_at) == (0, None, "", clock.now)
    server.answers = [GREY]
    assert deliver_all() == 0
    clock.forward(minutes=1)
    assert deliver_all() == 1
    assert addresses(server) == ["right@example.com"]


def test_what_is_kept_for_the_morning_stays_kept(news: Any, server: Any, clock: Any) -> None:
    clock.to(2026, 11, 26, 3, 0)
    email = news()
    deliver_all()
    before = fresh(email)
    assert before.held_at
    corrected(email)
    kept = fresh(email)
    assert (kept.due_at, kept.held_at, kept.trouble) == (before.due_at, before.held_at, before.trouble)
    assert deliver_all() == 0


def test_what_failed_keeps_its_reason_and_waits_for_a_press(note: Any, server: Any) -> None:
    email = note()
    server.answers = [UNWANTED]
    deliver_all()
    why = fresh(email).trouble
    corrected(email)
    assert (fresh(email).state, fresh(email).trouble) == ("failed", why)
    assert deliver_all() == 0
    again(fresh(email))
    deliver_all()
    assert addresses(server) == ["right@example.com"]


# -- words to pass on ----------------------------------------------------------------------------------------

ENCLOSED = "Subject: About {what}\n\nWords.\n\n{enclosed}\n"


@pytest.fixture
def enclosed(template: Any) -> None:
    template("note", ENCLOSED, {"enclosed": "{% if by_email %}The quote is enclosed.{% endif %}"})


@pytest.mark.parametrize("address", ["", "gone@example.com"])
def test_without_an_address_it_is_worded_as_one_says_it(
    note: Any, enclosed: None, server: Any, clock: Any, address: str
) -> None:
    DeadAddress.objects.create(address="gone@example.com", since=clock.now, why="5.1.1")
    email = note()
    server.answers = [UNWANTED]
    deliver_all()
    assert "enclosed" in words(fresh(email)).text
    readdress(Email.objects.all(), Person("Ottoline", address), "555-0123")
    told = fresh(email)
    assert (told.way, told.state) == ("tell", "waiting")
    assert "enclosed" not in words(told).text


def test_where_others_went_out_in_it_all_is_passed_on(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 2)
    deliver_all()
    carrier = next(email for email in emails if fresh(email).bundle_id is None)
    Email.objects.filter(pk=carrier.pk).update(state="failed", came_back_at=clock.now)
    readdress(Email.objects.filter(pk=carrier.pk), Person("Ottoline", ""))
    said = words(fresh(carrier)).text
    assert all(email.context["what"] in said for email in emails)


# -- the shop's own ------------------------------------------------------------------------------------------

NEW_SHOP = Person("Tidewell & Daughter", "bench@tidewell.example.com")


@pytest.mark.parametrize("where", ["waits", "failed", "under way"])
def test_what_the_shop_writes_to_itself_goes_to_its_new_address(
    note: Any, server: Any, clock: Any, where: str
) -> None:
    own, other = note(to=SHOP), note()
    if where == "failed":
        server.answers = [UNWANTED, UNWANTED]
        deliver_all()
    elif where == "under way":
        claims.due(2, LEASE)
    change_sender(NEW_SHOP)
    if where == "failed":
        again(fresh(own))
        again(fresh(other))
    clock.forward(minutes=6)
    assert deliver_all() == 2
    for letter in server.taken:
        assert (letter.from_email, letter.reply_to) == (NEW_SHOP.address, [NEW_SHOP.address])
        assert letter.extra_headers["From"] == f"{NEW_SHOP.name} <{NEW_SHOP.address}>"
    assert sorted(addresses(server)) == [NEW_SHOP.address, OTTOLINE.address]
    assert (fresh(own).to_name, fresh(other).to_name) == (NEW_SHOP.name, OTTOLINE.name)


def test_what_went_out_keeps_whom_it_was_from(note: Any, server: Any) -> None:
    own = note(to=SHOP)
    deliver_all()
    change_sender(NEW_SHOP)
    kept = fresh(own)
    assert (kept.from_name, kept.from_address, kept.to_address) == (SHOP.name, SHOP.address, SHOP.address)
