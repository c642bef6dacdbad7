"""A client's request, from the page to the commission, and everything that can be wrong with one."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser

from shopdesk.base.refusals import Refused
from shopdesk.clients.models import Client
from shopdesk.commissions import letters
from shopdesk.commissions.models import Commission, JournalLine, Letter
from shopdesk.intake.models import Draft
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at
from tests.intake.conftest import ASKED, Visitor

pytestmark = pytest.mark.django_db


def errors(page: str, field: str) -> str:
    """What stands under a field."""
    found = re.search(rf'<div class="err" id="id_{field}_error">(.*?)</div>', page, re.S)
    return re.sub(r"<[^>]+>", " ", found[1]).strip() if found else ""


def test_the_least_that_is_needed(visitor: Visitor) -> None:
    answer = visitor.send()
    assert answer.status_code == 302
    commission = Commission.objects.get()
    assert commission.source == "page"
    assert commission.stage == "requested"
    assert commission.wish == "Its old warmth back."
    assert [(piece.name, piece.count, piece.finish_now) for piece in commission.pieces.all()] == [
        ("walnut bureau", 1, "unknown")
    ]
    assert (commission.client.name, commission.client.email) == ("Ismay Thorne", "ismay@example.com")
    line = JournalLine.objects.get()
    assert (line.by, line.client_id, line.for_client) == ("client", commission.client_id, True)
    thanks = visitor.browser.get(answer["Location"]).content.decode()
    assert "Thank you, Ismay Thorne" in thanks
    assert "ismay@example.com" in thanks
    assert commission.number in thanks


def test_everything_that_is_welcome(visitor: Visitor) -> None:
    day = today_at(the_shop()) + timedelta(days=40)
    visitor.send(
        {
            **ASKED,
            "pieces": "3",
            "phone": "555-0142",
            "piece0-count": "1",
            "piece0-width": "34 1/2",
            "piece0-depth": '17.5"',
            "piece0-height": "87,6 cm",
            "piece0-material": "oak veneer",
            "piece0-made": "about 1950",
            "piece0-finish_now": "varnished",
            "piece0-trouble": "The veneer lifts.\r\nOne drawer sticks.",
            "piece0-hardware": "two knobs missing",
            "piece1-name": "six chairs",
            "piece1-count": "6",
            "piece1-finish_now": "oiled",
            "colour_wish": "a dark bottle green",
            "sheen": "satin",
            "hardware_wish": "kept",
            "place": "the hall",
            "hoped_for": day.isoformat(),
            "budget": "600 or so",
            "travel": "second floor, no lift",
        }
    )
    commission = Commission.objects.get()
    assert commission.hoped_for == day
    assert (commission.colour_wish, commission.sheen, commission.hardware_wish) == (
        "a dark bottle green",
        "satin",
        "kept",
    )
    assert (commission.place, commission.budget, commission.travel) == (
        "the hall",
        "600 or so",
        "second floor, no lift",
    )
    first, second = commission.pieces.all()  # the third block was empty
    assert (first.width_mm, first.depth_mm, first.height_mm) == (
        Decimal("876.30"),
        Decimal("444.50"),
        Decimal("876.00"),
    )
    assert first.trouble == "The veneer lifts.\nOne drawer sticks."
    assert (first.material, first.made, first.hardware) == ("oak veneer", "about 1950", "two knobs missing")
    assert (second.name, second.count) == ("six chairs", 6)
    assert (first.lead_caution, second.lead_caution) == (True, False)


def test_sizes_without_unit_are_the_shops(shop: Shop, visitor: Visitor) -> None:
    Shop.objects.update(units="cm")
    visitor.send(**{"piece0-width": "80"})
    assert Commission.objects.get().pieces.get().width_mm == 800


def test_both_sides_are_written_to(
    visitor: Visitor, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    visitor.send(phone="555-0142", colour_wish="green *and* <b>gold</b>")
    assert {email.kind: email.to_address for email in Email.objects.all()} == {
        "request-received": "ismay@example.com",
        "new-request": "hello@tidewell.example.com",
    }
    assert Letter.objects.filter(to_client=True).count() == 1
    work()
    client, shop = sorted(mailbox, key=lambda email: email.to[0] != "Ismay Thorne <ismay@example.com>")
    number = Commission.objects.get().number
    assert client.subject == f"We have your request, {number}"
    assert "/in/" in str(client.body)
    assert "You will have our answer by" in str(client.body)
    assert "We test before we sand" in str(client.body)
    assert shop.subject == "Ismay Thorne asks about: walnut bureau"
    assert "Its old warmth back." in str(shop.body)
    assert "- Phone: 555-0142" in str(shop.body)
    assert "- Colour: green *and* <b>gold</b>" in str(shop.body)
    assert f"/desk/c/{number}/" in str(shop.body)


def test_a_client_without_email_is_on_the_list_to_tell(visitor: Visitor) -> None:
    answer = visitor.send(email="", phone="555-0142")
    told = Email.objects.get(kind="request-received")
    assert (told.way, told.to_address) == ("tell", "")
    thanks = visitor.browser.get(answer["Location"]).content.decode()
    assert "send a text to 555-0142" in thanks


def test_nobody_gets_in_by_typing_somebodys_address(client_person: Client) -> None:
    visitor = Visitor()
    visitor.send(name=client_person.name.upper(), email=client_person.email)
    assert Commission.objects.get().client == client_person
    assert visitor.browser.session.get("client") is None
    assert visitor.browser.get("/my/").status_code != 200


@pytest.mark.parametrize(
    ("said", "field", "sentence"),
    [
        ({"name": ""}, "name", "Please tell us your name."),
        ({"name": "🪑🎨"}, "name", "Please write a name with letters in it"),
        ({"name": "\u200b\u202e\u2066"}, "name", "Please tell us your name."),
        ({"name": "A" * 121}, "name", "That is 121 characters long, and we can take 120."),
        ({"email": ""}, "email", "Leave an email address or a phone number"),
        ({"email": "ismay at example"}, "email", "We could not write to that address"),
        ({"email": f"{'a' * 250}@example.com"}, "email", "too long to be an email address"),
        ({"phone": "ring me"}, "phone", "We could not call that number"),
        ({"phone": "12"}, "phone", "We could not call that number"),
        ({"phone": "1" * 16}, "phone", "We could not call that number"),
        ({"wish": "  \r\n "}, "wish", "Please say in a few words"),
        ({"wish": "line\r\n" * 5000}, "wish", "That is 24,999 characters long, and we can take 5,000."),
        ({"piece0-name": ""}, "piece0-name", "Add a picture above, or say here in a few words what it is."),
        ({"piece0-width": "big"}, "piece0-width", "We cannot read that size"),
        ({"piece0-width": "-3"}, "piece0-width", "cannot be below zero"),
        ({"piece0-width": "0"}, "piece0-width", "A size of zero"),
        ({"piece0-depth": "9" * 500}, "piece0-depth", "We cannot read that size"),
        ({"piece0-height": "35 x 20"}, "piece0-height", "one size in each box"),
        ({"piece0-height": "11 m"}, "piece0-height", "longer than 10 metres"),
        ({"piece0-count": "six"}, "piece0-count", "as a number, such as 6"),
        ({"piece0-count": "-1"}, "piece0-count", "One at least"),
        ({"piece0-count": "100000"}, "piece0-count", "more than 99"),
        ({"piece0-finish_now": "gilded"}, "piece0-finish_now", "not one of the choices"),
        ({"hoped_for": "2001-02-03"}, "hoped_for", "That day has passed."),
        ({"hoped_for": "9999-12-31"}, "hoped_for", "many years away"),
        ({"hoped_for": "soon"}, "hoped_for", "We could not read that day."),
        ({"hoped_for": "2031-02-30"}, "hoped_for", "We could not read that day."),
        ({"sheen": "sparkling"}, "sheen", "not one of the choices"),
        ({"budget": "x" * 121}, "budget", "we can take 120"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field_and_everything_typed_is_kept(
    visitor: Visitor, said: dict[str, str], field: str, sentence: str
) -> None:
    answer = visitor.send(**said)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in errors(page, field)
    assert f'href="#id_{field}"' in page
    assert page.count("autofocus") == 1
    assert re.search(rf'id="id_{field}"[^>]*autofocus|autofocus[^>]*id="id_{field}"', page)
    assert not Commission.objects.exists()
    typed = {**ASKED, **said}
    for name in ("wish", "name", "email", "piece0-name"):
        if name not in said and typed[name]:
            assert typed[name] in page
    again = visitor.open()  # and after a reload
    for name in {"wish", "name", "email", "piece0-name"} - set(said):
        assert typed[name] in again
    assert "autofocus" not in again


def test_an_overlong_wish_is_kept_whole_in_the_form(visitor: Visitor) -> None:
    page = visitor.send(wish="a plank of wood\r\n" * 5000).content.decode()
    assert page.count("a plank of wood") == 5000
    assert visitor.open().count("a plank of wood") > 550  # a draft keeps twice what a field takes


def test_control_characters_are_taken_out(visitor: Visitor) -> None:
    visitor.send(
        name="Is\u200bmay \u202eThorne\u202c\0",
        wish="Old\0 warmth\x07\r\nback",
        phone="555\u200b-0142",
        **{"piece0-name": "walnut\0\tbureau"},
    )
    commission = Commission.objects.get()
    assert commission.client.name == "Ismay Thorne"
    assert commission.client.phone == "555-0142"
    assert commission.wish == "Old warmth\nback"
    assert commission.pieces.get().name == "walnut bureau"


def test_nul_in_a_draft(visitor: Visitor) -> None:
    assert visitor.send(name="\0", wish="a\0b").status_code == 422
    assert Draft.objects.get().typed["wish"] == "ab"


def test_typed_markup_is_text(visitor: Visitor) -> None:
    page = visitor.send(name='"><script>alert(1)</script>', email="nobody").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_only_what_is_typed_into_the_form_is_kept(visitor: Visitor) -> None:
    visitor.send(email="", is_owner="1", **{"piece40-name": "x", "wish": "y" * 60_000})
    typed = Draft.objects.get().typed
    assert set(typed) == {"pieces", "piece0-name", "wish", "name", "email"}
    assert len(typed["wish"]) == 10_000


def test_pressing_twice_is_one_request(visitor: Visitor) -> None:
    first, second = visitor.send(), visitor.send(wish="Something else by now")
    assert first["Location"] == second["Location"]
    assert Commission.objects.count() == 1
    assert Email.objects.count() == 2


def test_two_tabs_are_one_request_even_after_another_was_begun(visitor: Visitor) -> None:
    tab = visitor.key
    first = visitor.send()
    assert "walnut bureau" not in visitor.open()
    assert visitor.key != tab
    second = visitor.browser.post("/request/", {**ASKED, "submission": tab})
    assert second["Location"] == first["Location"]
    assert Commission.objects.count() == 1
    visitor.send(wish="And the mirror, too.")
    assert Commission.objects.count() == 2
    assert Client.objects.count() == 1


def test_a_sent_draft_keeps_nothing(visitor: Visitor) -> None:
    visitor.send()
    draft = Draft.objects.get()
    assert draft.typed == {}
    assert draft.commission == Commission.objects.get()
    visitor.browser.post("/request/draft/", {"wish": "late"})  # the page says goodbye
    draft.refresh_from_db()
    assert draft.typed == {}


def test_the_draft_is_kept_as_it_is_typed(visitor: Visitor) -> None:
    answer = visitor.browser.post(
        "/request/draft/", {"wish": "Half a sen", "name": "Ismay", "pieces": "2", "piece1-name": "stool"}
    )
    assert answer.status_code == 204
    page = visitor.open()
    assert "Half a sen" in page
    assert 'value="stool"' in page
    assert "Piece 2" in page
    assert "Half a sen" not in Visitor().page.content.decode()


def test_a_draft_of_nobody_is_not_kept(shop: Shop) -> None:
    assert Browser().post("/request/draft/", {"wish": "x"}).status_code == 409
    browser = Browser()
    browser.cookies["shopdesk-request"] = "0f0e3f5e-3c58-4b2b-9a3c-0a4c3f9d8e11:forged"
    assert browser.post("/request/draft/", {"wish": "x"}).status_code == 409
    assert not Draft.objects.exists()


def test_looking_writes_nothing(visitor: Visitor) -> None:
    visitor.open()
    assert not Draft.objects.exists()
    cookie = visitor.browser.cookies["shopdesk-request"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert cookie["path"] == "/request/"


def test_another_piece_and_one_less(visitor: Visitor) -> None:
    answer = visitor.send(press="another")
    assert (answer.status_code, answer["Location"]) == (302, "/request/#piece-2")
    page = visitor.open()
    assert 'value="walnut bureau"' in page
    assert 'id="piece-2"' in page
    assert 'name="pieces" value="2"' in page
    said = {**ASKED, "pieces": "3", "piece1-name": "a stool", "piece2-name": "a mirror", "press": "without 1"}
    visitor.send(said)
    page = visitor.open()
    assert 'value="a stool"' not in page
    assert 'name="piece1-name" value="a mirror"' in page
    assert not Commission.objects.exists()


def test_no_more_pieces_than_fit(visitor: Visitor) -> None:
    visitor.send(pieces="12", press="another")
    page = visitor.open()
    assert 'id="piece-12"' in page
    assert 'id="piece-13"' not in page
    assert "Add another piece" not in page
    for nonsense in ("999999999999", "-1", "x", "²"):
        assert visitor.send(pieces=nonsense, email="").status_code == 422
    for nonsense in ("without 99", "without x", "without ", "take nothing"):
        assert visitor.send(press=nonsense).status_code == 302


def test_a_robot_is_thanked_and_nothing_is_kept(visitor: Visitor) -> None:
    answer = visitor.send(homepage="http://spam.example.com")
    assert answer.status_code == 302
    thanks = visitor.browser.get(answer["Location"])
    assert thanks.status_code == 200
    assert "We have your request" in thanks.content.decode()
    assert not Commission.objects.exists()
    assert not Draft.objects.exists()
    assert not Email.objects.exists()


def test_twenty_requests_a_day(shop: Shop) -> None:
    for number in range(20):
        assert Visitor(REMOTE_ADDR="203.0.113.9").send(email=f"ismay{number}@example.com").status_code == 302
    late = Visitor(REMOTE_ADDR="203.0.113.9")
    answer = late.send(wish="The twenty-first")
    page = answer.content.decode()
    assert answer.status_code == 429
    assert "Many requests have come from your connection today" in page
    assert "call us on 555-0118" in page
    assert "The twenty-first" in page
    assert "The twenty-first" in late.open()
    assert Commission.objects.count() == 20
    assert Visitor(REMOTE_ADDR="203.0.113.10").send().status_code == 302


def test_a_post_without_a_token_is_refused(shop: Shop) -> None:
    strict = Browser(enforce_csrf_checks=True)
    strict.get("/request/")
    assert strict.post("/request/", ASKED).status_code == 403
    assert strict.post("/request/draft/", ASKED).status_code == 403
    assert strict.post("/request/photos/").status_code == 403
    assert not Draft.objects.exists()


def test_what_is_thanked_for_is_nobody_elses_to_read(visitor: Visitor) -> None:
    answer = visitor.send()
    stranger = Browser().get(answer["Location"]).content.decode()
    assert "Ismay" not in stranger
    assert "ismay@example.com" not in stranger
    assert "We have your request" in stranger


def test_a_shop_that_is_not_set_up_yet(db: None) -> None:
    answer = Browser().get("/request/")
    assert answer.status_code == 503
    assert "still being set up" in answer.content.decode()
    assert Browser().post("/request/", ASKED).status_code == 503
    assert not Draft.objects.exists()


def test_a_broken_action_keeps_what_was_typed(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise Refused("The post is closed.")

    monkeypatch.setattr(letters, "to_shop", refuse)
    answer = visitor.send()
    assert answer.status_code == 409
    assert "The post is closed." in answer.content.decode()
    assert not Commission.objects.exists()
    assert not Email.objects.exists()
    assert not Client.objects.exists()
    monkeypatch.undo()
    assert visitor.send().status_code == 302
    assert Commission.objects.count() == 1
