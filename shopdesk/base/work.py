"""Claim a row of work, do it, mark it done. A guarded `UPDATE … WHERE` decides who got there first, and a
lease that ran out is taken over, so nothing that was committed goes undone, whatever dies when.

    while (row := work.claim(Email.objects.all(), lease=timedelta(minutes=2))) is not None:
        ...                                    # outside any transaction
        work.finish(row)                       # or put_off(row, ...) or give_up(row, ...)

Each of the three endings is itself guarded by the lease: whoever lost the lease meanwhile changes nothing
and is told `False`.
"""

from __future__ import annotations

import logging
import random
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from shopdesk.base.models import Work
from shopdesk.base.nudge import nudge

W = TypeVar("W", bound=Work)
State = Work.State
log = logging.getLogger(__name__)

_CANDIDATES = 8


def claimable(now: datetime) -> Q:
    """Rows that may be worked on at `now`: waiting and due, or abandoned by whoever had them."""
    return Q(state=State.WAITING, due_at__lte=now) | Q(state=State.UNDER_WAY, lease_until__lt=now)


def claim(rows: QuerySet[W], *, lease: timedelta, now: datetime | None = None) -> W | None:
    """Take one row that is due and return it, or `None` when nothing is. Counts a try."""
    while True:
        at = now or timezone.now()
        found = list(
            rows.filter(claimable(at)).order_by("due_at", "id").values_list("pk", flat=True)[:_CANDIDATES]
        )
        if not found:
            return None
        for pk in found:
            token = uuid.uuid4()
            taken = rows.model._base_manager.filter(claimable(at), pk=pk).update(
                state=State.UNDER_WAY, lease=token, lease_until=at + lease, tries=F("tries") + 1
            )
            if taken:
                return rows.get(pk=pk)


def _end(row: Work, **values: Any) -> bool:
    return bool(
        type(row)
        ._base_manager.filter(pk=row.pk, lease=row.lease, state=State.UNDER_WAY)
        .update(lease=None, lease_until=None, **values)
    )


def finish(row: Work, *, now: datetime | None = None, **values: Any) -> bool:
    """Mark a claimed row done, setting `values` in the same statement. `False` if the lease was lost: then
    nothing changed."""
    return _end(row, state=State.DONE, done_at=now or timezone.now(), trouble="", **values)


def put_off(
    row: Work,
    after: timedelta,
    trouble: str = "",
    *,
    counts: bool = True,
    now: datetime | None = None,
    **values: Any,
) -> bool:
    """Not now: try again `after` that long, setting `values` in the same statement. `counts=False` takes the
    try back (it only waited for something else)."""
    if not counts:
        values["tries"] = F("tries") - 1
    return _end(row, state=State.WAITING, due_at=(now or timezone.now()) + after, trouble=trouble, **values)


def give_up(row: Work, trouble: str, *, now: datetime | None = None) -> bool:
    """Never: the desk shows it with `trouble` and a press to try again."""
    return _end(row, state=State.FAILED, done_at=now or timezone.now(), trouble=trouble)


def again(rows: QuerySet[W], *, now: datetime | None = None) -> int:
    """Put failed rows back in line from the start. Returns how many."""
    return rows.filter(state=State.FAILED).update(
        state=State.WAITING, due_at=now or timezone.now(), tries=0, trouble="", done_at=None
    )


def growing_wait(tries: int, *, first: float = 20, most: float = 6 * 3600) -> timedelta:
    """The wait after the `tries`-th failure in seconds: doubling from `first` up to `most`, a fifth of it
    by chance, so that what failed together does not come back together."""
    wait = min(first * 2 ** max(tries - 1, 0), most)
    return timedelta(seconds=wait * random.uniform(0.8, 1.2))


def run_all(
    claim_one: Callable[[], W | None],
    do: Callable[[W], None],
    *,
    task: str,
    most: int = 500,
    seconds: float = 60,
) -> int:
    """Work until nothing is due. After `most` rows or so many seconds it is another kind of work's turn: the
    named task is nudged to go on. Returns how many rows were done."""
    count, end = 0, time.monotonic() + seconds
    while (row := claim_one()) is not None:
        do(row)
        count += 1
        if count >= most or time.monotonic() >= end:
            nudge(task)
            break
    return count
