"""After a commit, tell a worker to look. A lost nudge costs half a minute (the sweep finds the row), never
the person at the form.

The broker may refuse, hang, or accept and stay silent: the nudge is sent from one thread that is waited for
at most a second, and while one is still stuck no other is tried.
"""

from __future__ import annotations

import logging
import threading

from django.db import transaction

log = logging.getLogger(__name__)

WAIT_SECONDS = 1.0
_busy = threading.Lock()


def nudge(task: str) -> None:
    """Once the current transaction has committed, send the named task ("shopdesk.mail.deliver")."""
    transaction.on_commit(lambda: _send(task), robust=True)


def _send(task: str) -> None:
    if not _busy.acquire(blocking=False):
        log.info("The broker is still busy with an earlier nudge; %s waits for the sweep.", task)
        return
    sender = threading.Thread(target=_send_and_release, args=(task,), daemon=True, name=f"nudge {task}")
    sender.start()
    sender.join(WAIT_SECONDS)
    if sender.is_alive():
        log.warning("The broker does not answer; %s waits for the sweep.", task)


def _send_and_release(task: str) -> None:
    from shopdesk.celery import app

    try:
        app.send_task(task, retry=False, expires=300)
    except Exception as error:  # noqa: BLE001  any broker, any trouble: the row is there and the sweep will find it
        log.warning("No nudge for %s (%s); it waits for the sweep.", task, error)
    finally:
        _busy.release()
