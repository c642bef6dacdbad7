"""A client's address is corrected while somebody, who has read the old one, is about to write to it."""

from __future__ import annotations

import threading
import time

import pytest
from django.db import connections, transaction

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, correct_client, open_commission
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.stages import locked
from shopdesk.mail.models import Email
from shopdesk.shop.models import User

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


def test_in_another_commission(client_person: Client, owner: User) -> None:
    client, desk = Who("client", client_person.pk), Who("owner", owner.pk)
    one, other = (
        open_commission(NewCommission(client_person, "page", Wish("Brown"), [NewPiece("desk")]), client)
        for _ in range(2)
    )
    read = threading.Event()
    troubles: list[Exception] = []

    def write() -> None:
        try:
            with transaction.atomic():
                now = locked(other.pk)
                read.set()
                time.sleep(0.5)
                to_client(now, "declined", {"words": []})
        except Exception as error:  # noqa: BLE001  shown by the test
            troubles.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=write)
    thread.start()
    assert read.wait(10)
    typed = {"name": client_person.name, "phone": client_person.phone, "address": client_person.address}
    correct_client(one, desk, email="right@example.com", **typed)
    thread.join(30)
    assert troubles == []
    assert set(Email.objects.values_list("to_address", flat=True)) == {"right@example.com"}
