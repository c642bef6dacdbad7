"""What is only of use for a while does not pile up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone

from shopdesk.base import sweep
from shopdesk.base.forgetting import FORGET, forget
from shopdesk.base.models import Limit, Submission

pytestmark = pytest.mark.django_db


def aged(days: int) -> None:
    then = timezone.now() - timedelta(days=days)
    Submission.objects.create(landing=str(days), made_at=then)
    Limit.objects.create(name=str(days), span_started_at=then)
    Session.objects.create(
        session_key=str(days), session_data="", expire_date=timezone.now() + timedelta(days=10 - days)
    )


def left() -> tuple[set[str], set[str], set[str]]:
    return (
        set(Submission.objects.values_list("landing", flat=True)),
        set(Limit.objects.exclude(name=FORGET).values_list("name", flat=True)),
        set(Session.objects.values_list("session_key", flat=True)),
    )


def test_what_is_old_goes_and_the_rest_stays() -> None:
    for days in (0, 1, 3, 11, 29, 31):
        aged(days)
    forget()
    assert left() == ({"0", "1", "3", "11", "29"}, {"0", "1"}, {"0", "1", "3"})


def test_a_sweep_does_it_once_a_day() -> None:
    runner: Callable[[], object] = sweep.runners()[FORGET]
    aged(40)
    runner()
    assert left() == (set(), set(), set())
    aged(40)
    runner()
    assert left()[0] == {"40"}
    Limit.objects.filter(name=FORGET).update(span_started_at=timezone.now() - timedelta(hours=25))
    runner()
    assert left()[0] == set()
