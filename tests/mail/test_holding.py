"""What becomes of emails that can wait."""

from __future__ import annotations

import contextlib
import random
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from functools import partial
from typing import Any

import pytest
from django.db import connection

from shopdesk.mail import bundles
from shopdesk.mail.actions import Person
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.holding import day_of
from shopdesk.mail.models import Email, Turn
from shopdesk.mail.queries import waiting
from tests.mail.waiting import DROPPED, FULL_FOR_NOW, NIGHT, ZOE, fresh, states, wall_is_quiet
from tests.mail.waiting import needed as needed
from tests.mail.waiting import news as news


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
