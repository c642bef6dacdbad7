"""What a worker looks through every half minute. A room that has work registers its runner in its `apps.py`:

    sweep.register("shopdesk.mail.deliver", actions.deliver_all)

and that is also the body of its Celery task.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.db import close_old_connections
from django.utils import timezone

from shopdesk.base.models import Heartbeat

log = logging.getLogger(__name__)
_runners: dict[str, Callable[[], object]] = {}


def register(name: str, runner: Callable[[], object]) -> None:
    _runners[name] = runner


def runners() -> dict[str, Callable[[], object]]:
    return dict(_runners)


def beat(name: str = "worker") -> None:
    """Say that a worker is alive."""
    Heartbeat.objects.update_or_create(name=name, defaults={"seen_at": timezone.now()})


def sweep() -> None:
    """Run every runner once. One that fails is logged and does not keep the others from their turn."""
    beat()
    for name, runner in _runners.items():
        try:
            runner()
        except Exception:
            log.exception("%s failed; it is tried again at the next sweep.", name)
            close_old_connections()
