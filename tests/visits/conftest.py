"""A commission that is booked or ready, and the first free time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from shopdesk.commissions.models import Commission, Stage
from shopdesk.craft.slots import Slot
from shopdesk.visits.queries import free


def stand_at(commission: Commission, stage: Stage, **facts: Any) -> Commission:
    """Put a commission at a stage, as the steps before would have."""
    Commission.objects.filter(pk=commission.pk).update(stage=stage, **facts)
    commission.refresh_from_db()
    return commission


@pytest.fixture
def ready(commission: Commission) -> Commission:
    return stand_at(commission, Stage.READY, ready_at=timezone.now())


@pytest.fixture
def booked(commission: Commission) -> Commission:
    return stand_at(commission, Stage.BOOKED, booked_at=timezone.now())


Clock = Callable[[datetime], datetime]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """`clock(moment)` makes it that moment for everything that asks `timezone.now()`."""

    def set_to(moment: datetime) -> datetime:
        monkeypatch.setattr(timezone, "now", lambda: moment)
        return moment

    return set_to


def some_slots(most: int = 4) -> list[Slot]:
    """Free times that are at least three days away."""
    now = timezone.now()
    return [slot for slot in free(now) if slot.start > now + timedelta(days=3)][:most]
