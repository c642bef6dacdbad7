"""Many people press at once: one gets the time. On whichever database the suite runs on, with real
transactions."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, time, timedelta

import pytest
from django.db import connection, connections
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.commissions.actions import NewCommission, Wish, open_commission
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.commissions.reminders import write_due
from shopdesk.mail.models import Email
from shopdesk.shop.models import OpeningWindow, Shop
from shopdesk.visits.actions import GONE, book
from shopdesk.visits.models import Cell, Visit
from shopdesk.visits.queries import free

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
CROWD = 32


def ready_commissions(count: int) -> list[Commission]:
    commissions = []
    for number in range(count):
        client = know_client(name=f"Client {number}", email=f"client{number}@example.com", phone="")
        new = NewCommission(client=client, source="page", wish=Wish("As it was."))
        commissions.append(open_commission(new, Who("client", client.pk)))
    Commission.objects.update(stage=Stage.READY, ready_at=timezone.now())
    for weekday in (5, 6):
        OpeningWindow.objects.create(weekday=weekday, opens=time(9), closes=time(17))
    return commissions


def at_once(presses: list[Callable[[], object]]) -> list[str]:
    """Press all at the same moment, each from a thread and a connection of its own. What each heard: "" for
    yes."""
    line_up = threading.Barrier(len(presses))

    def press(do: Callable[[], object]) -> str:
        try:
            connection.ensure_connection()
            line_up.wait(timeout=60)
            do()
        except Refused as no:
            return no.sentence
        finally:
            connections.close_all()
        return ""

    with ThreadPoolExecutor(len(presses)) as crowd:
        return list(crowd.map(press, presses))


def books(commission: Commission, start: datetime) -> Callable[[], object]:
    return lambda: book(commission, "pickup", start, Who("client", commission.client_id))


def some_start(days: int = 3) -> datetime:
    now = timezone.now()
    return next(slot.start for slot in free(now) if slot.start > now + timedelta(days=days))


def test_thirty_two_for_one_time(shop: Shop) -> None:
    commissions = ready_commissions(CROWD)
    start = some_start()
    heard = at_once([books(commission, start) for commission in commissions])
    assert sorted(heard) == ["", *[GONE] * (CROWD - 1)]
    visit = Visit.objects.get()
    assert Cell.objects.filter(visit=visit).count() == Cell.objects.count() == 2
    assert JournalLine.objects.filter(verb="pickup booked").count() == 1
    assert Email.objects.filter(kind="visit").count() == 1
    assert Email.objects.filter(kind="visit-changed").count() == 1


def test_thirty_two_moving_to_one_time(shop: Shop) -> None:
    """Everybody holds a time already: one moves, the others keep what they had."""
    commissions = ready_commissions(CROWD)
    own = [slot.start for slot in free(timezone.now())][:CROWD]
    for commission, start in zip(commissions, own, strict=True):
        book(commission, "pickup", start, Who("client", commission.client_id))
    wanted = some_start(days=20)
    heard = at_once([books(commission, wanted) for commission in commissions])
    assert heard.count("") == 1
    assert set(heard) == {"", GONE}
    assert Visit.objects.filter(starts_at=wanted, sequence=1).count() == 1
    kept = set(Visit.objects.filter(sequence=0).values_list("starts_at", flat=True))
    assert len(kept) == CROWD - 1
    assert kept < set(own)
    assert Cell.objects.count() == 2 * CROWD


def test_two_overlapping_times_after_the_slot_length_changed(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of the crowd still has the list from when a visit took half an hour, the other half the new one of
    an hour and a half: the times overlap without being the same, and one quarter hour under the unique
    constraint decides."""
    commissions = ready_commissions(CROWD)
    now = timezone.now()
    short = next(
        slot
        for slot in free(now)
        if slot.start > now + timedelta(days=3) and slot.start.astimezone(shop.tz).time() == time(9, 30)
    )
    Shop.objects.update(slot_minutes=90)
    long = next(slot for slot in free(now) if slot.start == short.start - timedelta(minutes=30))
    assert long.start < short.start < short.end < long.end

    by_page = {short.start: short, long.start: long}
    monkeypatch.setattr("shopdesk.visits.actions._free_slot", lambda shop, start, *rest: by_page[start])
    heard = at_once(
        [books(one, short.start if place % 2 else long.start) for place, one in enumerate(commissions)]
    )
    assert sorted(heard) == ["", *[GONE] * (CROWD - 1)]
    visit = Visit.objects.get()
    assert Cell.objects.count() == (visit.ends_at - visit.starts_at) / timedelta(minutes=15)


def test_one_client_pressing_two_times_at_once_has_one(shop: Shop) -> None:
    """Two tabs: the second press moves what the first has booked."""
    (commission,) = ready_commissions(1)
    slots = [slot.start for slot in free(timezone.now()) if slot.start > timezone.now() + timedelta(days=3)][
        :8
    ]
    heard = at_once([books(commission, start) for start in slots])
    assert heard == [""] * 8
    visit = Visit.objects.get()
    assert visit.sequence == 7
    assert {cell.starts_at for cell in Cell.objects.all()} == {
        visit.starts_at,
        visit.starts_at + timedelta(minutes=15),
    }


def test_eight_workers_remind_once(shop: Shop) -> None:
    (commission,) = ready_commissions(1)
    start = some_start()
    book(commission, "pickup", start, Who("client", commission.client_id))
    the_day_before = (start.astimezone(shop.tz) - timedelta(days=1)).replace(hour=12)
    assert at_once([lambda: write_due(the_day_before)] * 8) == [""] * 8
    assert Email.objects.filter(kind="visit-reminder").count() == 1
