"""Many workers and a client at once: one reminder of each occasion, and none after it was done. On whichever
database the suite runs on, with real transactions."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta

import pytest

from shopdesk.base.who import Who
from shopdesk.colours import actions as colours
from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, JournalLine, Reminded, Stage
from shopdesk.commissions.reminders import write_due
from shopdesk.commissions.switches import switch, switch_kind
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.services.test_quotes_at_once import at_once

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def waiting(commission: Commission, as_owner: Who) -> Sample:
    """A sample that was shown now."""
    Commission.objects.update(stage=Stage.IN_WORK)
    return colours.propose(commission.pieces.get(), colours.NewSample("Slipway brown"), as_owner)


@pytest.fixture
def third_morning(shop: Shop, waiting: Sample) -> datetime:
    day = today_at(shop) + timedelta(days=3)
    return datetime.combine(day, time(9), shop.tz).astimezone(UTC)


def test_eight_workers_write_one(third_morning: datetime) -> None:
    counts: list[int] = []
    assert at_once([lambda: counts.append(write_due(third_morning)) for _ in range(8)]) == [""] * 8
    assert sorted(counts) == [0] * 7 + [1]
    assert Email.objects.filter(kind="sample-waiting").count() == 1
    assert Reminded.objects.get().email == Email.objects.get(kind="sample-waiting")


@pytest.mark.parametrize("run", range(4))
def test_whoever_is_first_none_is_written_after_the_answer(
    run: int, waiting: Sample, third_morning: datetime, as_client: Who
) -> None:
    workers: list[Callable[[], object]] = [lambda: write_due(third_morning)] * 3
    yes = at_once([*workers, lambda: colours.approve(waiting.pk, "Ottoline Brask", as_client)])
    assert yes == [""] * 4
    verbs = list(JournalLine.objects.order_by("id").values_list("verb", flat=True))
    assert verbs.count("reminded") == Email.objects.filter(kind="sample-waiting").count() <= 1
    assert verbs[-1] == "sample approved"
    assert write_due(third_morning) == 0


def test_presses_that_switch_off_at_once_are_one(
    commission: Commission, waiting: Sample, third_morning: datetime, as_owner: Who, as_client: Who
) -> None:
    presses: list[Callable[[], object]] = [
        *[lambda: switch_kind("sample-waiting", on=False, who=as_owner)] * 3,
        *[lambda: switch_kind("sample-waiting", on=False, who=as_owner, commission=commission)] * 3,
        *[lambda: switch([commission.client], "reminder", on=False, who=as_client)] * 3,
    ]
    assert at_once(presses) == [""] * 9
    lines = JournalLine.objects.filter(verb="reminder off").values_list("words", flat=True)
    assert sorted(lines) == ["Reminders switched off", "The reminder “A sample waits” switched off"]
    assert write_due(third_morning) == 0
