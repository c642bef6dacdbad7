"""Pictures that came later than the request."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, JournalLine, Shot
from shopdesk.conversation.actions import say_to_client, say_to_shop
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.quotes.actions import start
from shopdesk.quotes.content import content_of
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from tests.conftest import MakePicture
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


def shown(quote: Quote) -> list[str | None]:
    assert quote.frozen is not None
    return [piece["picture_ref"] for piece in quote.frozen["pieces"]]


def ref(shot: Shot) -> str:
    return f"pictures:{shot.picture_id}:medium"


def test_the_owner_adds_pictures_and_no_email_goes_out(
    commission: Commission, as_owner: Who, desk: Browser, portal: Browser, picture_file: MakePicture
) -> None:
    written = Email.objects.count()
    page = desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert reverse("desk:pictures", args=[commission.number]) in page
    address = reverse("desk:pictures", args=[commission.number])
    answer = desk.post(address, {"pictures": [picture_file(), picture_file("b.jpg")], "for_client": "on"})
    assert answer["Location"].endswith("#pictures")
    first, second = Shot.objects.filter(commission=commission)
    assert {first.kind, second.kind} == {Shot.Kind.REQUEST}
    assert first.piece == second.piece == commission.pieces.get()
    assert Email.objects.count() == written
    assert JournalLine.objects.filter(words="2 pictures added", for_client=False).count() == 1
    assert str(first.picture.key) in portal.get(f"/my/{commission.number}/").content.decode()
    assert shown(send(commission, as_owner)) == [ref(first)]


def test_what_is_for_the_owner_alone_is_on_no_page_and_in_no_quote(
    commission: Commission, as_owner: Who, desk: Browser, portal: Browser, picture_file: MakePicture
) -> None:
    desk.post(reverse("desk:pictures", args=[commission.number]), {"pictures": [picture_file()]})
    shot = Shot.objects.get()
    assert str(shot.picture.key) not in portal.get(f"/my/{commission.number}/").content.decode()
    assert shown(send(commission, as_owner)) == [None]


def test_a_picture_of_one_piece_of_several(
    client_person: Client, shop: Shop, as_owner: Who, desk: Browser, picture_file: MakePicture
) -> None:
    pieces = [NewPiece("desk"), NewPiece("chair")]
    commission = open_commission(NewCommission(client_person, "page", Wish("Both"), pieces), as_owner)
    address = reverse("desk:pictures", args=[commission.number])
    wrong = desk.post(address, {"pictures": [picture_file()], "piece": "3"})
    assert wrong.status_code == 422
    assert "Choose one of the pieces." in wrong.content.decode()
    desk.post(address, {"pictures": [picture_file()], "piece": "2", "for_client": "on"})
    assert Shot.objects.get().piece == commission.pieces.get(position=2)
    content = content_of(start(commission, as_owner), commission, shop, date(2026, 11, 2))
    assert [piece["picture_ref"] for piece in content["pieces"]] == [None, ref(Shot.objects.get())]


def test_nothing_chosen(commission: Commission, desk: Browser) -> None:
    answer = desk.post(reverse("desk:pictures", args=[commission.number]), {"for_client": "on"})
    assert answer.status_code == 422
    assert "Choose a picture." in answer.content.decode()
    assert not JournalLine.objects.filter(verb="pictures added").exists()


def test_a_quote_shows_what_the_client_sent_with_a_message_when_there_is_nothing_else(
    commission: Commission, as_client: Who, as_owner: Who, picture_file: MakePicture
) -> None:
    say_to_client(commission, "This colour?", as_owner, [take_in(picture_file(), "card.jpg")])
    say_to_shop(commission, "Here it is.", as_client, [take_in(picture_file(), "desk.jpg")])
    theirs = Shot.objects.get(picture__original_name="desk.jpg")
    assert shown(send(commission, as_owner)) == [ref(theirs)]
