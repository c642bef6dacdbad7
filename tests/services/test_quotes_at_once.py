"""Many workers and the client at once: one reminder, and none after an answer. On whichever database the
suite runs on, with real transactions."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, time, timedelta

import pytest
from django.db import connection, connections

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.commissions.reminders import write_due
from shopdesk.mail.models import Email
from shopdesk.portal.actions import withdraw
from shopdesk.quotes import expiry
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from tests.quotes.making import send

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


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


def due(shop: Shop, quote: Quote) -> datetime:
    assert quote.good_until is not None
    day = quote.good_until - timedelta(days=shop.remind_days)
    return datetime.combine(day, time(9), shop.tz).astimezone(UTC)


def test_eight_sweeps_write_one_reminder(shop: Shop, commission: Commission, as_owner: Who) -> None:
    moment = due(shop, send(commission, as_owner))
    counts: list[int] = []
    at_once([lambda: counts.append(write_due(moment)) for _ in range(8)])
    assert sorted(counts) == [0] * 7 + [1]
    assert Email.objects.filter(kind="quote-expiring").count() == 1
    assert JournalLine.objects.filter(verb="reminded").count() == 1


@pytest.mark.parametrize("run", range(4))
def test_whoever_is_first_the_reminder_is_never_after_the_answer(
    shop: Shop, commission: Commission, as_owner: Who, as_client: Who, run: int
) -> None:
    """Sweeps and the client's own press together: the journal shows which came first, and a reminder that was
    written came before."""
    moment = due(shop, send(commission, as_owner))
    sweeps: list[Callable[[], object]] = [lambda: write_due(moment)] * 3
    heard = at_once([*sweeps, lambda: withdraw(commission, as_client)])
    assert heard == [""] * 4
    verbs = list(JournalLine.objects.order_by("id").values_list("verb", flat=True))
    reminders = verbs.count("reminded")
    assert reminders == Email.objects.filter(kind="quote-expiring").count()
    assert reminders <= 1
    assert verbs[-1] == Stage.WITHDRAWN
    assert write_due(moment) == 0


def test_eight_presses_ask_once_whether_they_are_still_interested(
    shop: Shop, commission: Commission, as_owner: Who, monkeypatch: pytest.MonkeyPatch
) -> None:
    quote = send(commission, as_owner)
    assert quote.good_until is not None
    after = quote.good_until + timedelta(days=1)
    monkeypatch.setattr(expiry, "today_at", lambda _: after)
    heard = at_once([lambda: expiry.ask_again(commission, "Still interested?", as_owner)] * 8)
    assert heard.count("") == 1
    assert Email.objects.filter(kind="question").count() == 1
