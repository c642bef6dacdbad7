"""Many workers and many copies of one email at the same moment: one message. On whichever database the suite
runs on, with real transactions."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest
from django.db import connection, connections

from shopdesk.base import work
from shopdesk.commissions.models import Commission
from shopdesk.conversation import post
from shopdesk.conversation.models import Message
from shopdesk.mail import arrivals
from shopdesk.mail.models import Arrival, Email
from shopdesk.mail.tags import reply_address
from tests.mail.arriving import Letter
from tests.mail.arriving import inbox as inbox
from tests.mail.arriving import letter as letter

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("inbox")]
WORKERS = 6


def together(jobs: list[Callable[[], object]]) -> None:
    """Each job in a thread and on a connection of its own, begun at the same moment."""
    line_up = threading.Barrier(len(jobs))

    def run(job: Callable[[], object]) -> None:
        try:
            connection.ensure_connection()
            line_up.wait(timeout=60)
            job()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(jobs)) as crowd:
        list(crowd.map(run, jobs))


def test_copies_that_workers_hold_at_the_same_moment_are_one_message(
    commission: Commission, letter: Letter
) -> None:
    """Every worker has claimed its own copy before any of them places one."""
    made = letter("Yes, keep them.", to=reply_address(f"commission {commission.pk}"))
    held = []
    for n in range(WORKERS):
        made["Received"] = f"by way {n}"
        assert arrivals.take_in(made.as_bytes()) is not None
        claimed = work.claim(Arrival.objects.all(), lease=post.LEASE)
        assert claimed is not None
        held.append(claimed)
    together([partial(post.place, one) for one in held])
    assert Message.objects.count() == 1
    assert Email.objects.filter(thread=f"commission {commission.pk} shop").count() == 1
    verdicts = sorted(Arrival.objects.values_list("verdict", flat=True))
    assert verdicts == [Arrival.Verdict.PLACED, *[Arrival.Verdict.TWICE] * (WORKERS - 1)]
    assert set(Arrival.objects.values_list("state", flat=True)) == {"done"}


def test_a_pile_is_shared_and_each_email_of_it_placed_once(commission: Commission, letter: Letter) -> None:
    tag = reply_address(f"commission {commission.pk}")
    words = [f"Word {n}." for n in range(post.A_TIME)]
    for said in words:
        assert arrivals.take_in(letter(said, to=tag).as_bytes()) is not None
    together([post.place_all] * WORKERS)
    assert sorted(Message.objects.values_list("text", flat=True)) == sorted(words)
    assert set(Arrival.objects.values_list("verdict", "state")) == {(Arrival.Verdict.PLACED, "done")}


def test_more_than_an_hour_s_share_at_once_is_cut_at_the_share(
    commission: Commission, letter: Letter
) -> None:
    tag = reply_address(f"commission {commission.pk}")
    for n in range(post.A_TIME + 7):
        assert arrivals.take_in(letter(f"Word {n}.", to=tag).as_bytes()) is not None
    together([post.place_all] * WORKERS)
    assert Message.objects.count() == post.A_TIME
    assert Arrival.objects.filter(verdict=Arrival.Verdict.TRAY).count() == 7
