"""Several emails to one address that go out as one, and what becomes of each when that goes wrong."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from shopdesk.base import work as works
from shopdesk.mail import bundles, delivery, returned
from shopdesk.mail.actions import Enclose, again, readdress
from shopdesk.mail.bounces import Bounce
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.models import Email, Turn
from shopdesk.mail.queries import not_needed, sent
from tests.mail.waiting import DROPPED, FULL_FOR_NOW, UNWANTED, ZOE, bundle_of, fresh, states
from tests.mail.waiting import needed as needed
from tests.mail.waiting import news as news


def test_what_waits_for_the_same_address_goes_with_it(
    news: Any, server: Any, clock: Any, bytes_of: Any
) -> None:
    """From whatever commission: held, due, still gathering; but none that is for a later day, misses what it
    carries, or is for somebody else."""
    first = news(what="the desk", thread="commission 1")
    deliver_all()
    held = news(what="the mirror", thread="commission 2")
    deliver_all()
    clock.to(2026, 11, 26, 12, 59)
    gathering = news(what="the chair", gather="progress 3", thread="commission 3")
    later = news(what="the bench", due_at=datetime(2026, 12, 1, 15, tzinfo=UTC))
    unready = news(what="the shelf", enclose=[Enclose("q.pdf", "application/pdf", ref="things:1")])
    stranger = news(to=ZOE)
    clock.forward(minutes=1)
    due = news(what="the stool", thread="commission 4")
    deliver_all()
    assert states(first, held, gathering, due, stranger) == ["done"] * 5
    assert states(later, unready) == ["waiting", "waiting"]
    assert len(server.taken) == 3
    together = next(letter for letter in server.taken[1:] if letter.to == ["ottoline@example.com"])
    for what in ("mirror", "chair", "stool"):
        assert f"a word about the {what}" in together.body
    carriers = {fresh(email).bundle_id for email in (held, gathering, due)}
    assert len(carriers) == 2  # the one that carries, and None for itself
    carrier = fresh(Email.objects.get(pk=next(one for one in carriers if one)))
    assert together.extra_headers["Message-ID"] == carrier.message_id
    for email in (held, gathering, due):
        kept = fresh(email)
        assert kept.done_at == carrier.done_at
        assert kept.worded_at == carrier.worded_at
        assert kept.held_at is None
        if kept.pk != carrier.pk:
            assert kept.text
            assert kept.subject == f"About {kept.context['what']}"


def test_a_reminder_that_cannot_wait_takes_the_others_along_and_is_the_days(
    news: Any, server: Any, clock: Any
) -> None:
    first, slot = news(), news(sort="reminder", can_wait=False, what="the slot")
    another = news(sort="reminder", can_wait=False, what="the other slot")
    assert deliver_all() == 1
    assert states(first, slot, another) == ["done"] * 3
    assert {fresh(first).bundle_id, fresh(another).bundle_id} == {slot.pk}
    for what in ("the slot", "the other slot", first.context["what"]):
        assert f"a word about {what}" in server.taken[0].body
    late = news()
    assert deliver_all() == 0
    assert fresh(late).trouble == bundles.ONE_A_DAY


def test_a_reminder_that_cannot_wait_goes_though_the_day_had_its_email_and_by_night(
    news: Any, server: Any, clock: Any
) -> None:
    news()
    assert deliver_all() == 1
    slot = news(sort="reminder", can_wait=False, what="the slot")
    assert deliver_all() == 1
    clock.to(2026, 11, 26, 3, 0)
    held, by_night = news(), news(sort="reminder", can_wait=False, what="the night's slot")
    assert deliver_all() == 1
    assert states(slot, by_night, held) == ["done", "done", "waiting"]
    assert (fresh(held).bundle_id, fresh(held).trouble) == (None, bundles.QUIET)


def test_nothing_is_added_to_one_that_was_tried_by_itself(news: Any, server: Any, clock: Any) -> None:
    slot = news(sort="reminder", can_wait=False, what="the slot")
    server.answers = [FULL_FOR_NOW]
    assert deliver_all() == 0
    late = news(what="the late one")
    clock.forward(minutes=5)
    assert deliver_all() == 1
    assert states(slot, late) == ["done", "waiting"]
    assert fresh(late).bundle_id is None, "the first try may have arrived"
    assert fresh(late).trouble == bundles.ONE_A_DAY
    assert "the late one" not in server.taken[0].body


def test_one_that_carried_others_and_is_refused_lets_them_go(news: Any, server: Any, clock: Any) -> None:
    first, slot = news(), news(sort="reminder", can_wait=False, what="the slot")
    server.answers = [UNWANTED]
    deliver_all()
    assert states(first, slot) == ["done", "failed"]
    assert fresh(first).bundle_id is None
    assert "the slot" not in server.taken[0].body


def test_a_bundle_put_off_keeps_together_and_is_the_same_at_each_try(
    news: Any, server: Any, clock: Any
) -> None:
    emails = bundle_of(news, clock, 3)
    server.answers = [FULL_FOR_NOW, DROPPED]
    for _ in range(2):
        assert deliver_all() == 0
        assert states(*emails) == ["waiting"] * 3
        clock.forward(minutes=5)
    late = news(what="a late one")
    assert deliver_all() == 1
    assert states(*emails) == ["done"] * 3
    assert fresh(late).trouble == bundles.ONE_A_DAY, "the first try may have arrived: nothing is added to it"
    assert len({letter.body for letter in server.tried}) == 1
    assert len({str(letter.extra_headers) for letter in server.tried}) == 1
    assert all(f"piece {n}" in server.tried[0].body for n in range(3))


def test_a_bundle_that_is_refused_lets_its_members_go(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 3)
    server.answers = [UNWANTED]
    assert deliver_all() == 1
    first, *others = map(fresh, emails)
    assert first.state == "failed"
    assert not Email.objects.filter(bundle=first).exists()
    assert [email.state for email in others] == ["done", "done"], "they went together, without it"
    assert "piece 0" not in server.taken[0].body
    again(first)
    assert deliver_all() == 0
    assert fresh(first).trouble == bundles.ONE_A_DAY


@pytest.mark.parametrize("dies", ["before the words", "after the words", "after the yes"])
def test_a_worker_that_dies_half_way_loses_none(
    news: Any, server: Any, clock: Any, monkeypatch: Any, dies: str
) -> None:
    class Killed(BaseException):
        pass

    def killed(*args: Any, **kwargs: Any) -> None:
        raise Killed

    emails = bundle_of(news, clock, 3)
    with monkeypatch.context() as patch:
        where: dict[str, tuple[Any, str]] = {
            "before the words": (bundles, "_word"),
            "after the words": (delivery, "message"),
            "after the yes": (works, "finish"),
        }
        patch.setattr(*where[dies], killed)
        with pytest.raises(Killed):
            deliver_all()
    assert states(*emails) == ["under way", "waiting", "waiting"]
    clock.forward(minutes=1)
    assert deliver_all() == 0, "nobody else sends to this address meanwhile"
    clock.forward(minutes=5)
    assert deliver_all() == 1
    assert states(*emails) == ["done"] * 3
    assert len({letter.body for letter in server.tried}) == 1
    assert all(f"piece {n}" in server.taken[-1].body for n in range(3))


def test_taken_over_in_the_night_it_waits_for_the_morning(news: Any, server: Any, clock: Any) -> None:
    clock.to(2026, 11, 26, 0, 58)  # 19:58
    emails = [news(what=f"piece {n}") for n in range(2)]
    (left,) = bundles.next_one(delivery.LEASE)
    assert bundles.prepare(left) == [emails[1]]
    clock.forward(minutes=10)
    assert deliver_all() == 0
    kept = fresh(left)
    assert (kept.state, kept.trouble, kept.due_at) == (
        "waiting",
        bundles.QUIET,
        datetime(2026, 11, 26, 13, 0, tzinfo=UTC),
    )
    clock.now = kept.due_at
    other = news(what="another")
    assert deliver_all() == 1
    assert states(*emails, other) == ["done", "done", "waiting"]
    assert Turn.objects.get(email=left).day == date(2026, 11, 26)


# -- pressed again -----------------------------------------------------------------------------------------


def told(server: Any, what: str) -> int:
    """In how many of the letters that the server took something was said."""
    return sum(f"a word about {what}:" in letter.body for letter in server.taken)


def came_back(*emails: Email) -> tuple[Email, Email]:
    """Of two that went out together, the one that carried and the other; the carrier's mailbox is full."""
    (carrier,) = [one for one in map(fresh, emails) if one.bundle_id is None]
    (member,) = [one for one in emails if one.pk != carrier.pk]
    bounce = Bounce(carrier.message_id, carrier.to_address, "failed", "5.2.2", "full")
    returned.came_back(carrier, bounce)
    assert states(carrier, member) == ["failed", "done"]
    return carrier, member


def test_after_a_refusal_each_is_said_once_and_by_itself(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 2)
    server.always = {"": UNWANTED}
    deliver_all()
    assert {fresh(email).worded_at is None for email in emails} == {True, False}, "whose words were all's"
    server.always = {}
    for email in emails:
        again(fresh(email))
    for _ in range(3):
        deliver_all()
        clock.forward(days=1)
    assert states(*emails) == ["done", "done"]
    assert [told(server, f"piece {n}") for n in range(2)] == [1, 1]


def test_what_came_back_goes_again_whole(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 2)
    deliver_all()
    carrier, member = came_back(*emails)
    again(fresh(carrier))
    assert states(carrier, member) == ["waiting", "waiting"]
    clock.forward(days=1)
    assert deliver_all() == 1
    assert states(carrier, member) == ["done", "done"]
    first, second = server.taken
    assert second.body == first.body
    assert second.extra_headers["Message-ID"] == first.extra_headers["Message-ID"]


def test_what_came_back_and_is_done_meanwhile_is_not_said_again(
    news: Any, server: Any, clock: Any, needed: set[int]
) -> None:
    emails = bundle_of(news, clock, 2)
    deliver_all()
    carrier, member = came_back(*emails)
    needed.add(member.pk)
    again(fresh(carrier))
    clock.forward(days=1)
    assert deliver_all() == 1
    assert told(server, carrier.context["what"]) == 2
    assert told(server, member.context["what"]) == 1
    assert fresh(member).not_needed_at is not None


def test_a_member_of_what_came_back_goes_without_its_carrier(
    news: Any, server: Any, clock: Any, needed: set[int]
) -> None:
    emails = bundle_of(news, clock, 2)
    deliver_all()
    carrier, member = came_back(*emails)
    needed.add(carrier.pk)
    again(fresh(carrier))
    for _ in range(2):
        clock.forward(days=1)
        deliver_all()
    assert told(server, carrier.context["what"]) == 1
    assert told(server, member.context["what"]) == 2
    assert states(carrier, member) == ["done", "done"]


def test_one_without_words_fails_alone(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 3)
    Email.objects.filter(pk=emails[2].pk).update(kind="nothing-there")
    deliver_all()
    assert states(*emails) == ["done", "done", "failed"]
    assert [told(server, f"piece {n}") for n in range(3)] == [1, 1, 0]
    assert fresh(emails[2]).trouble


def test_what_comes_while_the_server_is_away_is_added_to_nothing_that_has_its_words(
    note: Any, server: Any, clock: Any
) -> None:
    first = note(gather="message 1", first_at_once=True, items=[{"text": "one"}])
    server.doors = [ConnectionRefusedError(111, "Connection refused")]
    assert deliver_all() == 0
    assert fresh(first).worded_at is not None
    second = note(gather="message 1", first_at_once=True, items=[{"text": "two"}])
    assert second.pk != first.pk
    for _ in range(3):
        clock.forward(hours=1)
        deliver_all()
    said = "\n".join(letter.body for letter in server.taken)
    assert said.count("- one") == said.count("- two") == 1


# -- still needed ------------------------------------------------------------------------------------------


def test_what_is_not_needed_any_more_is_never_handed_over(
    news: Any, note: Any, server: Any, clock: Any, needed: set[int]
) -> None:
    alone, waits = note(), news(to=ZOE)
    needed |= {alone.pk, waits.pk}
    assert deliver_all() == 0
    assert server.tried == []
    assert states(alone, waits) == ["done", "done"]
    assert {email.pk for email in not_needed()} == {alone.pk, waits.pk}
    assert not sent().exists()
    assert not Turn.objects.exists(), "another may go today"
    news(to=ZOE)
    assert deliver_all() == 1


def test_members_that_are_not_needed_drop_out_at_every_try(
    news: Any, server: Any, clock: Any, needed: set[int]
) -> None:
    emails = bundle_of(news, clock, 4)
    needed.add(emails[1].pk)
    server.answers = [FULL_FOR_NOW]
    assert deliver_all() == 0
    assert states(*emails) == ["waiting", "done", "waiting", "waiting"]
    needed.add(emails[2].pk)
    clock.forward(minutes=5)
    assert deliver_all() == 1
    assert states(*emails) == ["done"] * 4
    assert [bool(fresh(email).not_needed_at) for email in emails] == [False, True, True, False]
    body = server.taken[0].body
    assert [f"piece {n}" in body for n in range(4)] == [True, False, False, True]


def test_without_its_carrier_the_rest_goes_and_without_all_nothing(
    news: Any, server: Any, clock: Any, needed: set[int]
) -> None:
    emails = bundle_of(news, clock, 3)
    needed.add(emails[0].pk)
    assert deliver_all() == 1
    assert states(*emails) == ["done"] * 3
    assert [f"piece {n}" in server.taken[0].body for n in range(3)] == [False, True, True]
    clock.forward(days=1)
    idle = [news(), news()]
    needed |= {email.pk for email in idle}
    assert deliver_all() == 0
    assert states(*idle) == ["done", "done"]


# -- another address ---------------------------------------------------------------------------------------


def test_another_address_takes_an_email_out_of_its_bundle(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 3)
    server.answers = [FULL_FOR_NOW]
    deliver_all()
    member = next(email for email in emails if fresh(email).bundle_id)
    rows = Email.objects.filter(pk=member.pk)
    assert readdress(rows, ZOE) == 1
    clock.forward(minutes=5)
    assert deliver_all() == 2
    assert states(*emails) == ["done"] * 3
    to = {letter.to[0]: letter.body for letter in server.taken}
    assert set(to) == {"ottoline@example.com", "zoe@example.com"}
    assert member.context["what"] in to["zoe@example.com"]
    assert member.context["what"] not in to["ottoline@example.com"]


def test_another_address_for_all_of_them(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 3)
    server.answers = [FULL_FOR_NOW]
    deliver_all()
    assert readdress(Email.objects.all(), ZOE) == 3
    clock.forward(minutes=5)
    assert deliver_all() == 1
    assert states(*emails) == ["done"] * 3
    assert server.taken[0].to == ["zoe@example.com"]
