"""The owner puts right who a client is and what a piece is."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, correct_client, open_commission
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.conversation.actions import say_to_client
from shopdesk.intake.actions import Asked, note_request
from shopdesk.mail.models import Email
from shopdesk.mail.queries import failed, to_tell

pytestmark = pytest.mark.django_db

KEPT = {
    "name": "Ottoline Brask",
    "email": "ottoline@example.com",
    "phone": "555-0131",
    "address": "3 Gull Steps",
}


def put_right(desk: Browser, commission: Commission, **changed: str) -> Any:
    return desk.post(reverse("desk:client", args=[commission.number]), {**KEPT, **changed}, follow=True)


def journal(commission: Commission, verb: str) -> list[str]:
    return list(JournalLine.objects.filter(commission=commission, verb=verb).values_list("words", flat=True))


def test_what_has_not_gone_out_goes_to_the_new_address(
    commission: Commission,
    client_person: Client,
    as_owner: Who,
    desk: Browser,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    say_to_client(commission, "This one has gone.", as_owner)
    work()
    say_to_client(commission, "This one failed.", as_owner)
    Email.objects.filter(state="waiting", to_address="ottoline@example.com").update(
        state="failed", trouble="550 no such user"
    )
    say_to_client(commission, "This one waits.", as_owner)
    sister = know_client(name="Beatrix Brask", email="ottoline@example.com", phone="")
    hers = open_commission(NewCommission(sister, "page", Wish("Hers"), [NewPiece("stool")]), as_owner)
    say_to_client(hers, "For the sister.", as_owner)
    page = put_right(desk, commission, email="Otto@Example.com ").content.decode()
    assert "2 emails that have not gone out are for the new address." in page
    client_person.refresh_from_db()
    assert client_person.email == "otto@example.com"
    assert failed().get().to_address == "otto@example.com"
    assert failed().get().trouble == "550 no such user"
    assert Email.objects.get(to_name="Beatrix Brask").to_address == "ottoline@example.com"
    Email.objects.filter(state="waiting").update(due_at=timezone.now())  # what gathers for ten minutes
    work()
    assert [message.to for message in mailbox if "This one waits" in str(message.body)] == [
        ["otto@example.com"]
    ]
    assert len(mailbox) == 3


def test_the_journal_says_what_and_names_nobody(
    commission: Commission, client_person: Client, as_client: Who, desk: Browser
) -> None:
    other = open_commission(
        NewCommission(client_person, "page", Wish("Another"), [NewPiece("stool")]), as_client
    )
    put_right(desk, commission, name="Otto Brask-Loe", phone="555-0199")
    for one in (commission, other):
        assert journal(one, "client corrected") == ["The client’s name and phone corrected"]
        line = JournalLine.objects.get(commission=one, verb="client corrected")
        assert not line.for_client
    assert (
        "Nothing was changed."
        in put_right(desk, commission, name="Otto Brask-Loe", phone="555-0199").content.decode()
    )
    assert len(journal(commission, "client corrected")) == 1


def test_without_an_address_any_more_the_words_are_for_the_owner_to_pass_on(
    commission: Commission, as_owner: Who, desk: Browser
) -> None:
    say_to_client(commission, "Take your time.", as_owner)
    put_right(desk, commission, email="", phone="555-0177")
    told = to_tell().get()
    assert (told.to_address, told.context["phone"], told.state) == ("", "555-0177", "waiting")


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"name": ""}, "Write their name."),
        ({"name": "12"}, "Write their name."),
        ({"email": "", "phone": ""}, "so that you can reach them"),
        ({"email": "otto@"}, "could not write to that address"),
        ({"phone": "12"}, "could not call that number"),
        ({"address": "x" * 600}, "Please shorten it"),
    ],
)
def test_what_cannot_be_right_is_not_kept(
    commission: Commission, client_person: Client, desk: Browser, changed: dict[str, str], sentence: str
) -> None:
    answer = put_right(desk, commission, **changed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    client_person.refresh_from_db()
    assert {name: getattr(client_person, name) for name in KEPT} == KEPT


def test_who_gives_an_email_later_is_the_same_client(as_owner: Who) -> None:
    def asked(email: str) -> Asked:
        return Asked("Anselm Roe", email, "555-0164", Wish("Six chairs"), [NewPiece("chairs")])

    first = note_request(asked(""), "phone", [], as_owner)
    second = note_request(asked("anselm@example.com"), "door", [], as_owner)
    assert first.client_id == second.client_id
    assert Client.objects.get().email == "anselm@example.com"
    assert note_request(asked("anselm@example.com"), "phone", [], as_owner).client_id == first.client_id


def test_on_the_request_page_a_name_and_a_number_open_no_door(as_owner: Who) -> None:
    known = know_client(name="Anselm Roe", email="", phone="555-0164")
    stranger = know_client(name="Anselm Roe", email="stranger@example.com", phone="555-0164")
    assert stranger.pk != known.pk
    known.refresh_from_db()
    assert known.email == ""


PIECE = {
    "name": "writing desk", "count": "1", "width": "55 1/8 in", "depth": "", "height": "",
    "material": "walnut", "made": "", "finish_now": "varnished", "trouble": "", "hardware": "",
}  # fmt: skip


def correct(desk: Browser, commission: Commission, **changed: str) -> Any:
    address = reverse("desk:piece", args=[commission.number, 1])
    return desk.post(address, {**PIECE, **changed}, follow=True)


def test_a_piece_is_put_right_and_its_lead_caution_follows(commission: Commission, desk: Browser) -> None:
    piece = commission.pieces.get()
    assert piece.lead_caution
    page = desk.get(reverse("desk:piece", args=[commission.number, 1])).content.decode()
    assert 'value="55 1/8 in"' in page
    correct(desk, commission, made="1996", count="2", depth="60 cm")
    piece.refresh_from_db()
    assert (piece.count, piece.made, piece.depth_mm, piece.lead_caution) == (2, "1996", Decimal(600), False)
    assert piece.width_mm == Decimal(1400)  # shown rounded, and left alone
    assert journal(commission, "piece corrected") == [
        "The piece’s number, size and age corrected: no lead caution any more"
    ]
    correct(desk, commission, made="1950", count="2", depth="60 cm", width="56", finish_now="painted")
    piece.refresh_from_db()
    assert (piece.lead_caution, piece.width_mm) == (True, Decimal("1422.4"))
    assert journal(commission, "piece corrected")[1].endswith("age and finish corrected: it may hold lead")


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"name": " "}, "Say what it is."),
        ({"count": "0"}, "One at least."),
        ({"count": "many"}, "as a number"),
        ({"width": "as wide as a door"}, "as wide as a door"),
        ({"finish_now": "gilded"}, "Choose its finish."),
    ],
)
def test_a_piece_that_cannot_be_is_not_kept(
    commission: Commission, desk: Browser, changed: dict[str, str], sentence: str
) -> None:
    answer = correct(desk, commission, **changed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not journal(commission, "piece corrected")


def test_a_piece_that_is_not_there(commission: Commission, desk: Browser) -> None:
    assert desk.get(reverse("desk:piece", args=[commission.number, 2])).status_code == 404


def test_a_commission_that_has_ended_is_put_right_too(
    commission: Commission, client_person: Client, as_owner: Who
) -> None:
    Commission.objects.update(stage=Stage.COLLECTED)
    done = correct_client(commission, as_owner, **{**KEPT, "address": "4 Gull Steps\n\nPort Marrin"})
    assert list(done.changed) == ["address"]
    client_person.refresh_from_db()
    assert client_person.address == "4 Gull Steps\nPort Marrin"
