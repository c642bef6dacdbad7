"""Quiet hours and the shop's day, with the time zone database (PEP 615) as the reference; and what becomes of
emails that can wait."""

from __future__ import annotations

import contextlib
import random
import smtplib
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from hypothesis import example, given, settings
from hypothesis import strategies as st

from shopdesk.base import work as works
from shopdesk.mail import bundles, claims, delivery, holding, still
from shopdesk.mail.actions import Enclose, Person, again, readdress
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.holding import Hours, day_of, next_morning, quiet_until
from shopdesk.mail.models import Email, Turn
from shopdesk.mail.queries import not_needed, sent, waiting

NEW_YORK = ZoneInfo("America/New_York")
NIGHT = Hours(NEW_YORK, time(20), time(8))
NO_SUCH_USER = smtplib.SMTPRecipientsRefused({"x": (550, b"5.1.1 no such user")})
FULL_FOR_NOW = smtplib.SMTPRecipientsRefused({"x": (452, b"mailbox full")})
DROPPED = smtplib.SMTPServerDisconnected("Connection unexpectedly closed")

# -- the hours ---------------------------------------------------------------------------------------------

ZONES = [
    "America/New_York",
    "Europe/Berlin",
    "Australia/Lord_Howe",  # put forward by half an hour
    "America/St_Johns",
    "Asia/Kathmandu",
    "Pacific/Apia",  # a day was left out in December 2011
    "America/Havana",  # put forward at midnight
    "UTC",
]


def wall_is_quiet(moment: datetime, hours: Hours) -> bool:
    at = moment.astimezone(hours.zone).time()
    begin, end = hours.quiet_from, hours.quiet_until
    if begin == end:
        return False
    return begin <= at < end if begin < end else at >= begin or at < end


def minutes(first: int = 0) -> st.SearchStrategy[time]:
    return st.integers(first, 24 * 60 - 1).map(lambda minute: time(minute // 60, minute % 60))


@st.composite
def moments(draw: st.DrawFn) -> datetime:
    """Any minute of some years, and mostly one near a change of the clock."""
    zone_changes = [
        datetime(2026, 3, 8, 6, tzinfo=UTC),
        datetime(2026, 11, 1, 5, tzinfo=UTC),
        datetime(2026, 3, 29, 0, tzinfo=UTC),
        datetime(2026, 10, 25, 0, tzinfo=UTC),
        datetime(2026, 10, 3, 15, tzinfo=UTC),
        datetime(2026, 4, 4, 15, tzinfo=UTC),
        datetime(2011, 12, 30, 10, tzinfo=UTC),
        datetime(2026, 3, 8, 5, tzinfo=UTC),
    ]
    near = draw(st.sampled_from(zone_changes)) + timedelta(minutes=draw(st.integers(-2000, 2000)))
    anywhere = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=draw(st.integers(0, 500_000)))
    return near if draw(st.integers(0, 3)) else anywhere


@settings(max_examples=400, deadline=None)
@given(moments(), st.sampled_from(ZONES), minutes(), minutes())
@example(datetime(2026, 3, 8, 6, 30, tzinfo=UTC), "America/New_York", time(20), time(2, 30))
@example(datetime(2026, 3, 8, 6, 30, tzinfo=UTC), "America/New_York", time(2, 45), time(2, 30))
@example(datetime(2026, 11, 1, 6, 10, tzinfo=UTC), "America/New_York", time(20), time(1, 30))
@example(datetime(2026, 11, 1, 5, 10, tzinfo=UTC), "America/New_York", time(20), time(1, 30))
def test_the_quiet_hours_end_when_the_wall_says_so(
    moment: datetime, zone: str, begin: time, end: time
) -> None:
    hours = Hours(ZoneInfo(zone), begin, end)
    expected = moment
    while wall_is_quiet(expected, hours):
        expected += timedelta(minutes=1)
    assert quiet_until(moment, hours) == (expected if expected != moment else None)


@settings(max_examples=200, deadline=None)
@given(moments(), st.sampled_from(ZONES), minutes(), minutes())
def test_the_next_morning_is_another_day_and_not_quiet(
    moment: datetime, zone: str, begin: time, end: time
) -> None:
    hours = Hours(ZoneInfo(zone), begin, end)
    morning = next_morning(moment, hours)
    assert day_of(morning, hours) > day_of(moment, hours)
    assert morning - moment < timedelta(hours=73)
    assert not wall_is_quiet(morning, hours)


@pytest.mark.parametrize(
    ("moment", "until"),
    [
        ("2026-11-25 19:59", None),
        ("2026-11-25 20:00", "2026-11-26 08:00"),
        ("2026-11-26 07:59", "2026-11-26 08:00"),
        ("2026-11-26 08:00", None),
        ("2026-03-07 23:00", "2026-03-08 08:00"),  # ten hours later, less the one that is left out
    ],
)
def test_evenings_and_nights_of_a_shop_in_new_york(moment: str, until: str | None) -> None:
    def wall(text: str) -> datetime:
        return datetime.fromisoformat(text).replace(tzinfo=NEW_YORK)

    assert quiet_until(wall(moment), NIGHT) == (wall(until) if until else None)


def test_the_next_day_without_quiet_hours_begins_at_eight() -> None:
    never = Hours(NEW_YORK, time(0), time(0))
    assert next_morning(datetime(2026, 11, 25, 15, tzinfo=UTC), never) == datetime(
        2026, 11, 26, 13, tzinfo=UTC
    )
    siesta = Hours(NEW_YORK, time(7), time(9))
    assert next_morning(datetime(2026, 11, 25, 15, tzinfo=UTC), siesta) == datetime(
        2026, 11, 26, 14, tzinfo=UTC
    )


# -- what can wait -----------------------------------------------------------------------------------------

ZOE = Person("Zoë Åkesson", "zoe@example.com")


@pytest.fixture
def news(note: Any, monkeypatch: Any) -> Any:
    """Writes an email that can wait. The shop is in New York and quiet from 20:00 to 8:00; the clock begins
    at 10:00 there."""
    monkeypatch.setattr(holding, "_read", [lambda: NIGHT])

    def make(sort: str = "news", can_wait: bool = True, **rest: Any) -> Email:
        email: Email = note(**rest)
        Email.objects.filter(pk=email.pk).update(sort=sort, can_wait=can_wait)
        email.refresh_from_db()
        return email

    return make


@pytest.fixture
def needed(monkeypatch: Any) -> set[int]:
    """The ids of emails of kind "note" that are not needed any more."""
    idle: set[int] = set()
    monkeypatch.setitem(still._checks, "note", lambda email: email.pk not in idle)
    return idle


def fresh(email: Email) -> Email:
    return Email.objects.get(pk=email.pk)


def states(*emails: Email) -> list[str]:
    return [fresh(email).state for email in emails]


def test_in_the_quiet_hours_only_what_cannot_wait_goes(news: Any, note: Any, server: Any, clock: Any) -> None:
    clock.to(2026, 11, 26, 3, 0)  # 22:00 on the wall
    held, urgent = news(), note(to=ZOE)
    assert deliver_all() == 1
    assert states(held, urgent) == ["waiting", "done"]
    kept = fresh(held)
    assert kept.due_at == datetime(2026, 11, 26, 13, 0, tzinfo=UTC)
    assert (kept.tries, kept.held_at, kept.trouble) == (0, clock.now, bundles.QUIET)
    assert kept.worded_at is None
    clock.to(2026, 11, 26, 12, 59)
    assert deliver_all() == 0
    clock.forward(minutes=1)
    assert deliver_all() == 1
    gone = fresh(held)
    assert (gone.state, gone.tries, gone.held_at, gone.trouble) == ("done", 1, None, "")


def test_what_is_held_still_gathers(news: Any, server: Any, clock: Any) -> None:
    clock.to(2026, 11, 26, 3, 0)
    held = news(gather="progress 1", items=[{"text": "stripped"}])
    clock.forward(minutes=20)
    assert deliver_all() == 0
    more = news(gather="progress 1", items=[{"text": "sanded"}])
    assert more.pk == held.pk
    clock.to(2026, 11, 26, 13, 0)
    assert deliver_all() == 1
    assert "- stripped\n- sanded\n" in server.taken[0].body


def test_one_a_day_to_an_address(news: Any, note: Any, server: Any, clock: Any) -> None:
    first = news()
    assert deliver_all() == 1
    clock.forward(hours=1)
    second, answer, other = news(), note(), news(to=ZOE)
    assert deliver_all() == 2
    assert states(first, second, answer, other) == ["done", "waiting", "done", "done"]
    kept = fresh(second)
    assert kept.due_at == datetime(2026, 11, 26, 13, 0, tzinfo=UTC)
    assert (kept.tries, kept.trouble) == (0, bundles.ONE_A_DAY)
    clock.now = kept.due_at
    assert deliver_all() == 1
    assert states(second) == ["done"]


def test_one_address_is_one_however_it_is_spelt(news: Any, server: Any, clock: Any) -> None:
    news()
    deliver_all()
    other = news(to=Person("Ottoline Brask", "Ottoline@Example.COM"))
    assert deliver_all() == 0
    assert fresh(other).trouble == bundles.ONE_A_DAY


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
    assert states(slot, by_night) == ["done", "done"]
    assert fresh(held).bundle_id == by_night.pk


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
    server.answers = [NO_SUCH_USER]
    deliver_all()
    assert states(first, slot) == ["done", "failed"]
    assert fresh(first).bundle_id is None
    assert "the slot" not in server.taken[0].body


def bundle_of(news: Any, clock: Any, count: int) -> list[Email]:
    """So many emails to one address that are due together on the next morning."""
    clock.to(2026, 11, 26, 3, 0)
    emails = [news(what=f"piece {n}", thread=f"commission {n}") for n in range(count)]
    deliver_all()
    clock.to(2026, 11, 26, 13, 0)
    return emails


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
    server.answers = [NO_SUCH_USER]
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


def test_in_the_middle_of_handing_over_a_bundle_keeps_its_address(news: Any, server: Any, clock: Any) -> None:
    emails = bundle_of(news, clock, 2)
    (carrier,) = bundles.next_one(delivery.LEASE)
    members = bundles.prepare(carrier)
    assert members
    assert readdress(Email.objects.all(), ZOE) == 0
    assert claims.finish(carrier, members)
    assert states(*emails) == ["done", "done"]


# -- a week of it ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chance", range(3))
def test_never_two_in_a_day_never_in_the_night_and_none_lost(
    news: Any, note: Any, server: Any, clock: Any, needed: set[int], monkeypatch: Any, chance: int
) -> None:
    """A week over the change of the clock, all at random: what is written, what goes wrong, who dies."""
    at_random = random.Random(chance)
    clock.to(2026, 10, 29, 15, 0)
    people = [Person(f"Person {n}", f"person{n}@example.com") for n in range(3)]
    taken: list[tuple[datetime, str, bool]] = []
    real = server.send_messages

    class Killed(BaseException):
        pass

    def send(line: Any, letters: Any) -> int:
        fate = at_random.random()
        if fate < 0.15:
            raise at_random.choice([FULL_FOR_NOW, DROPPED])
        if fate < 0.2:
            raise Killed
        (letter,) = letters
        row = Email.objects.get(message_id=letter.extra_headers["Message-ID"])
        taken.append((clock.now, row.to_address, row.can_wait))
        return int(real(line, letters))

    monkeypatch.setattr(server, "send_messages", send)
    urgent = partial(news, "reminder", can_wait=False)
    written: list[Email] = []
    for _ in range(7 * 24 * 2):
        if at_random.random() < 0.15:
            write = at_random.choice([news, news, note, urgent])
            number = len(written)
            written.append(write(to=at_random.choice(people), what=f"piece {number}"))
            if at_random.random() < 0.1:
                needed.add(written[-1].pk)
        with contextlib.suppress(Killed):
            deliver_all()
        clock.forward(minutes=30)
    monkeypatch.setattr(server, "send_messages", real)
    for _ in range(4 * 24):
        deliver_all()
        clock.forward(minutes=60)
    assert len(written) > 30
    assert Counter(states(*written)) == {"done": len(written)}
    can_wait = [(moment, address) for moment, address, waits in taken if waits]
    assert not any(wall_is_quiet(moment, NIGHT) for moment, _ in can_wait)
    a_day = Counter((day_of(moment, NIGHT), address) for moment, address in can_wait)
    assert max(a_day.values()) == 1
    assert not waiting().exists()
    said = "\n".join(letter.body for letter in server.taken)
    for email in map(fresh, written):
        assert (email.not_needed_at is not None) == (f"a word about {email.context['what']}:" not in said)


# -- at the same moment ------------------------------------------------------------------------------------


def at_once(workers: int, do: Any) -> list[Any]:
    """What each of several workers, with a connection of its own, gets from `do` at the same moment."""
    start = threading.Barrier(workers)

    def work() -> Any:
        try:
            start.wait(10)
            return do()
        finally:
            connection.close()

    with ThreadPoolExecutor(workers) as pool:
        return [job.result(60) for job in [pool.submit(work) for _ in range(workers)]]


@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_moment_send_one_to_each_address(news: Any, server: Any, clock: Any) -> None:
    people = [Person(f"Person {n}", f"person{n}@example.com") for n in range(6)]
    emails = [news(to=person, what=f"piece {n}") for n in range(4) for person in people]
    at_once(4, deliver_all)
    to = Counter(letter.to[0] for letter in server.taken)
    assert to == {person.address: 1 for person in people}
    clock.forward(days=1)
    at_once(4, deliver_all)
    assert states(*emails) == ["done"] * len(emails)
    said = "\n".join(letter.body for letter in server.taken)
    assert said.count("a word about the piece") == 0
    assert all(said.count(f"a word about piece {n}:") == len(people) for n in range(4))


@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_moment_share_what_cannot_wait(note: Any, server: Any, clock: Any) -> None:
    emails = [note(to=Person(f"Person {n}", f"person{n}@example.com")) for n in range(60)]
    counts = at_once(4, deliver_all)
    assert sum(counts) == 60
    assert len({letter.to[0] for letter in server.taken}) == len(server.taken) == 60
    assert all((email.state, email.tries) == ("done", 1) for email in map(fresh, emails))


@pytest.mark.django_db(transaction=True)
def test_a_days_turn_is_given_once(news: Any, clock: Any) -> None:
    emails = [news() for _ in range(4)]
    mine = iter(emails)

    def take() -> bool:
        return bundles._take_turn(next(mine), clock.now, NIGHT)

    assert sorted(at_once(4, take)) == [False, False, False, True]
    assert Turn.objects.count() == 1
