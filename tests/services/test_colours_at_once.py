"""Two pieces of one commission approved at once: its colour is agreed, whoever was first."""

from __future__ import annotations

import threading

import pytest
from django.db import connections

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.colours import actions
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, Stage
from shopdesk.shop.models import User

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("again", range(4))
def test_both_approvals_count(client_person: Client, owner: User, again: int) -> None:
    client, desk = Who("client", client_person.pk), Who("owner", owner.pk)
    pieces = [NewPiece("desk"), NewPiece("armchair")]
    commission = open_commission(NewCommission(client_person, "page", Wish("Brown"), pieces), client)
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.IN_WORK, sample_promised=True)
    samples = [
        actions.propose(piece, actions.NewSample("Brown"), desk).pk for piece in commission.pieces.all()
    ]
    together = threading.Barrier(2)
    troubles: list[Exception] = []

    def approve(sample: int) -> None:
        try:
            together.wait(10)
            actions.approve(sample, "Ottoline Brask", client)
        except Exception as error:  # noqa: BLE001  shown by the test
            troubles.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=approve, args=(sample,)) for sample in samples]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    commission.refresh_from_db()
    assert troubles == []
    assert commission.colour_agreed_at is not None
