"""The whole line stands still while the mail server cannot be used: no email bears a try for that, and one
of them asks from time to time whether it can be used again."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import QuerySet
from django.utils import timezone

from shopdesk.base import work
from shopdesk.base.nudge import nudge
from shopdesk.mail.actions import TASK
from shopdesk.mail.models import Pause

NAME = "out"
FIRST_WAIT = 20.0
LONGEST_WAIT = 1800.0
"""Seconds; doubling in between."""


def standing() -> Pause | None:
    """The pause that holds, or waits for somebody to end it."""
    return Pause.objects.filter(name=NAME).first()


def begin(why: str) -> None:
    """The server cannot be used. Where a pause holds already it stays as it is."""
    now = timezone.now()
    begun = {"since": now, "until": now + _wait(1), "failures": 1, "why": why}
    Pause.objects.get_or_create(name=NAME, defaults=begun)


def probe(pause: Pause, lease: timedelta) -> bool:
    """Be the one who tries whether it is over: for as long as `lease` nobody else does. `False` before its
    time, or when somebody else was quicker."""
    now = timezone.now()
    if not _rows(pause).filter(until__lte=now).update(until=now + lease):
        return False
    pause.until = now + lease
    return True


def failed(pause: Pause, why: str) -> None:
    """It is not over: wait longer."""
    failures = pause.failures + 1
    _rows(pause).update(failures=failures, until=timezone.now() + _wait(failures), why=why)


def put_back(pause: Pause) -> None:
    """There was nothing to try it with."""
    _rows(pause).update(until=timezone.now())


def _rows(pause: Pause) -> QuerySet[Pause]:
    """The pause, as long as nobody else has tried or lifted it."""
    return Pause.objects.filter(name=pause.name, since=pause.since, until=pause.until)


def lift() -> None:
    """The server can be used: let the others know."""
    if Pause.objects.filter(name=NAME).delete()[0]:
        nudge(TASK)


def try_now() -> None:
    """The owner does not want to wait."""
    Pause.objects.filter(name=NAME).update(until=timezone.now())
    nudge(TASK)


def _wait(failures: int) -> timedelta:
    return work.growing_wait(failures, first=FIRST_WAIT, most=LONGEST_WAIT)
