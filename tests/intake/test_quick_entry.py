"""The owner takes down a request for somebody on the phone or at the door."""

from __future__ import annotations

import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser

from shopdesk.clients.actions import know_client
from shopdesk.commissions.models import Commission, JournalLine, Shot
from shopdesk.mail.models import Email
from shopdesk.photos.models import Picture
from shopdesk.shop.models import User
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db

NOTED = {
    "name": "Corwin Hale",
    "phone": "555-0177",
    "wish": "Two bedside tables, white again.",
    "source": "door",
}


def test_a_name_a_number_and_a_sentence(desk: Browser, owner: User) -> None:
    assert desk.get("/desk/new/").status_code == 200
    answer = desk.post("/desk/new/", NOTED)
    commission = Commission.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, f"/desk/c/{commission.number}/")
    assert (commission.source, commission.wish) == ("door", NOTED["wish"])
    assert (commission.client.name, commission.client.phone, commission.client.email) == (
        "Corwin Hale",
        "555-0177",
        "",
    )
    piece = commission.pieces.get()
    assert (piece.name, piece.lead_caution) == ("piece", True)
    line = JournalLine.objects.get()
    assert (line.by, line.user_id, line.client_id) == ("owner", owner.pk, None)
    email = Email.objects.get()  # nobody needs to tell the owner what they have just written
    assert (email.kind, email.way) == ("request-received", "tell")


def test_with_email_and_a_picture(desk: Browser, picture_file: MakePicture) -> None:
    desk.post(
        "/desk/new/",
        {**NOTED, "email": "Corwin@Example.com", "piece": "tables", "pictures": [picture_file()]},
    )
    commission = Commission.objects.get()
    assert commission.client.email == "corwin@example.com"
    assert commission.pieces.get().name == "tables"
    assert Shot.objects.get().piece == commission.pieces.get()
    assert Email.objects.get().way == "email"


def test_somebody_who_was_here_before(desk: Browser) -> None:
    known = know_client(name="Corwin Hale", email="", phone="555-0177")
    desk.post("/desk/new/", NOTED)
    assert Commission.objects.get().client == known


def test_pressing_twice(desk: Browser) -> None:
    key = str(uuid.uuid4())
    first = desk.post("/desk/new/", {**NOTED, "submission": key})
    second = desk.post("/desk/new/", {**NOTED, "submission": key})
    assert first["Location"] == second["Location"]
    assert Commission.objects.count() == 1


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"name": ""}, "Whose piece is it?"),
        ({"name": "🪑"}, "Please write a name with letters in it."),
        ({"phone": ""}, "Write down a phone number or an email address"),
        ({"phone": "none"}, "We could not call that number"),
        ({"wish": ""}, "Write down what they want"),
        ({"source": ""}, "On the phone, or at the door?"),
        ({"source": "page"}, "not one of the choices"),
    ],
)
def test_what_is_wrong(desk: Browser, said: dict[str, str], sentence: str) -> None:
    answer = desk.post("/desk/new/", {**NOTED, **said})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert not Commission.objects.exists()
    if "wish" not in said:
        assert NOTED["wish"] in page


def test_a_refused_picture_keeps_the_rest(desk: Browser, picture_file: MakePicture) -> None:
    bad = SimpleUploadedFile("door.jpg", b"no picture at all", content_type="image/jpeg")
    answer = desk.post("/desk/new/", {**NOTED, "pictures": [bad, picture_file("good.jpg")]})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "door.jpg" in page
    assert "good.jpg" in page
    assert NOTED["wish"] in page
    assert Picture.objects.get().original_name == "good.jpg"


def test_only_for_the_owner(shop: object) -> None:
    answer = Browser().post("/desk/new/", NOTED)
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]
    assert not Commission.objects.exists()
