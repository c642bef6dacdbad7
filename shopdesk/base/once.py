"""Every form carries a submission key. The same key twice is one change, and the second press lands where
the first one did."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from django.db import IntegrityError, transaction
from django.http import HttpRequest

from shopdesk.base.models import Submission


def posted_key(request: HttpRequest) -> uuid.UUID:
    """The key that came with the form. A form without one (an old page, a robot) gets a new one: it is then
    on its own."""
    try:
        return uuid.UUID(request.POST.get("submission", ""))
    except ValueError:
        return uuid.uuid4()


def submission_key(request: HttpRequest) -> uuid.UUID:
    """The key for `once`: the posted one, for the address it was sent to, since two forms of one page may
    carry the same."""
    return uuid.uuid5(posted_key(request), request.path)


def once(key: uuid.UUID, do: Callable[[], str]) -> str:
    """Run `do` in one transaction with the key and return the address it answers with; for a key that was
    used already, return the first one's address and do nothing. If `do` raises, the key is free again.

    Two at once: the second waits at the unique key until the first has committed or rolled back.
    """
    try:
        with transaction.atomic():
            Submission.objects.create(key=key)
            landing = do()
            Submission.objects.filter(key=key).update(landing=landing)
            return landing
    except IntegrityError:
        first = Submission.objects.filter(key=key).first()
        if first is None:
            raise
        return first.landing
