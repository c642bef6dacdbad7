"""The pages of a change: at the desk and on the client's own."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.changes import actions
from shopdesk.changes.models import Change
from shopdesk.clients.actions import know_client
from shopdesk.commissions.models import Commission
from shopdesk.deposits.queries import standing
from shopdesk.photos.actions import take_in
from shopdesk.quotes.actions import accept as accept_quote
from tests.changes.making import propose
from tests.conftest import MakePicture, enter
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    accept_quote(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


def at_desk(name: str, commission: Commission, *args: object) -> str:
    return reverse(f"desk:{name}", args=[commission.number, *args])


def on_page(name: str, commission: Commission, *args: object) -> str:
    return reverse(f"portal:{name}", args=[commission.number, *args])


def test_from_the_desk_to_the_client_and_back(
    desk: Browser, portal: Browser, agreed: Commission, picture_file: MakePicture, work: Callable[[], None]
) -> None:
    assert "Propose a change" in desk.get(at_desk("commission", agreed)).content.decode()
    typed = {
        "reason": "The left rail is eaten by worm.",
        "words": "A new rail in ash.",
        "price": "$120",
        "taxable": "on",
        "days": "4",
        "photos": picture_file("worm.jpg"),
        "submission": str(uuid.uuid4()),
    }
    answer = desk.post(at_desk("propose-change", agreed), typed)
    assert answer.status_code == 302
    change = Change.objects.get()
    assert (change.gross, change.days, change.shots.count()) == (Decimal("127.50"), 4, 1)
    again = desk.post(at_desk("propose-change", agreed), {**typed, "photos": picture_file("b.jpg")})
    assert (again.status_code, Change.objects.count()) == (302, 1), "the same press twice is one change"
    work()

    page = portal.get(on_page("commission", agreed)).content.decode()
    assert "We found something, and need your answer." in page
    assert "$127.50 more, tax included." in page
    page = portal.get(on_page("change", agreed, 1)).content.decode()
    assert "The left rail is eaten by worm." in page
    picture = change.shots.get().picture
    address = reverse("portal:picture", args=[picture.key, "medium"])
    assert address in page
    assert portal.get(address).status_code == 200
    assert portal.get(reverse("portal:document", args=[change.document.key])).status_code == 200

    answer = portal.post(on_page("accept-change", agreed, 1), {"name": "", "agree": "on"})
    assert answer.status_code == 422
    assert "Type your name to accept." in answer.content.decode()
    said = {"name": "Ottoline Brask", "agree": "on", "submission": str(uuid.uuid4())}
    for _ in range(2):
        answer = portal.post(on_page("accept-change", agreed, 1), said)
        assert answer.status_code == 302
    page = portal.get(on_page("change", agreed, 1)).content.decode()
    assert "Accepted by Ottoline Brask on" in page
    assert "Accept this change" not in page
    page = portal.get(on_page("commission", agreed)).content.decode()
    assert "We found something" not in page
    assert "Change 1, agreed" in page
    assert "$813.30" in page

    today = desk.get(reverse("desk:today")).content.decode()
    assert "has accepted change 1." in today
    assert "Noted" in desk.get(at_desk("change", agreed, 1)).content.decode()
    desk.post(at_desk("change-noted", agreed, 1))
    assert "has accepted change 1." not in desk.get(reverse("desk:today")).content.decode()


def test_a_wrong_form_keeps_what_was_typed(desk: Browser, agreed: Commission) -> None:
    typed = {"reason": "Worm in the rail", "words": "", "price": "12,3,4", "days": "900"}
    answer = desk.post(at_desk("propose-change", agreed), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Worm in the rail" in page
    assert "is not an amount we can read" in page
    assert "365" in page
    typed = {"reason": "Worm", "words": "A rail", "price": "-900", "days": ""}
    page = desk.post(at_desk("propose-change", agreed), typed).content.decode()
    assert "more than was agreed" in page
    assert not Change.objects.exists()


def test_before_the_acceptance_there_is_nothing_to_change(desk: Browser, commission: Commission) -> None:
    assert "Propose a change" not in desk.get(at_desk("commission", commission)).content.decode()
    page = desk.get(at_desk("propose-change", commission))
    assert page.status_code == 200
    assert "This commission is requested" in page.content.decode()
    assert desk.post(at_desk("propose-change", commission), {"reason": "x"}).status_code == 200
    assert not Change.objects.exists()


def test_while_one_waits_the_desk_says_so(desk: Browser, agreed: Commission, as_owner: Who) -> None:
    propose(agreed, as_owner)
    assert "still waiting for its answer" in desk.get(at_desk("propose-change", agreed)).content.decode()
    assert "has change 1 to answer" in desk.get(reverse("desk:today")).content.decode()


def test_a_yes_is_written_down(desk: Browser, agreed: Commission, as_owner: Who) -> None:
    change = propose(agreed, as_owner)
    here = at_desk("change", agreed, 1)
    said_on = str(desk.get(here).context["form"]["said_on"].value())
    answer = desk.post(here, {"way": "paper", "name": "Ottoline Brask", "said_on": said_on})
    assert answer.status_code == 422
    assert "picture" in answer.content.decode()
    answer = desk.post(here, {"way": "word", "name": "Ottoline Brask", "said_on": said_on})
    assert answer.status_code == 302
    change.refresh_from_db()
    assert (change.state, change.way) == ("accepted", "word")
    account = standing(agreed)
    assert account is not None
    assert account.price == Decimal("813.30")


@pytest.mark.parametrize(("pressed", "state"), [("no", "declined"), ("back", "withdrawn")])
def test_a_no_is_written_down_or_it_is_taken_back(
    desk: Browser, agreed: Commission, as_owner: Who, pressed: str, state: str
) -> None:
    change = propose(agreed, as_owner)
    desk.post(at_desk("close-change", agreed, 1), {"answer": pressed, "words": "They would rather not"})
    change.refresh_from_db()
    assert (change.state, change.answer) == (state, "They would rather not")


def test_an_answer_that_came_too_late_is_told_so(portal: Browser, agreed: Commission, as_owner: Who) -> None:
    change = propose(agreed, as_owner)
    actions.withdraw(change.pk, "We found a way without it", as_owner)
    answer = portal.post(on_page("accept-change", agreed, 1), {"name": "Ottoline Brask", "agree": "on"})
    assert answer.status_code == 409
    assert "taken this change back" in answer.content.decode()
    answer = portal.post(on_page("decline-change", agreed, 1), {"reason": ""}, follow=True)
    assert "taken this change back" in answer.content.decode()


def test_a_no_on_the_page(portal: Browser, agreed: Commission, as_owner: Who) -> None:
    propose(agreed, as_owner)
    page = portal.post(on_page("decline-change", agreed, 1), {"reason": "Too much"}, follow=True)
    assert "What was agreed before holds." in page.content.decode()
    assert "“Too much”" in page.content.decode()


def test_nobody_else_sees_it(
    agreed: Commission, as_owner: Who, picture_file: MakePicture, work: Callable[[], None]
) -> None:
    change = propose(agreed, as_owner, pictures=[take_in(picture_file("a.jpg"), "a.jpg")])
    work()
    stranger = enter(know_client(name="Lev Amsel", email="lev@example.com", phone="", address=""))
    for address in (
        on_page("change", agreed, 1),
        reverse("portal:document", args=[change.document.key]),
        reverse("portal:picture", args=[change.shots.get().picture.key, "medium"]),
    ):
        assert stranger.get(address).status_code == 404
    assert stranger.post(on_page("accept-change", agreed, 1), {"name": "L", "agree": "on"}).status_code == 404
    assert Browser().get(at_desk("change", agreed, 1)).status_code == 302


def test_what_somebody_wrote_is_never_markup(
    desk: Browser, portal: Browser, agreed: Commission, as_owner: Who
) -> None:
    propose(agreed, as_owner, reason="<script>alert(1)</script>", words="<b>x</b> & y")
    for browser, address in ((desk, at_desk("change", agreed, 1)), (portal, on_page("change", agreed, 1))):
        page = browser.get(address).content.decode()
        assert "<script>alert" not in page
        assert "&lt;b&gt;x&lt;/b&gt; &amp; y" in page
