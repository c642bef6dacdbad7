"""The pages: what is typed is kept, what is wrong is said beside it, and nothing changes by looking."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.mail.models import Email
from shopdesk.quotes import actions
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.quotes.queries import draft_of
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.conftest import enter
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


def sheet(commission: Commission, edition: int, shop: Shop, **other: Any) -> dict[str, Any]:
    """A quote as the form posts it, one piece with two lines and an option."""
    today = today_at(shop)
    return {
        "submission": str(uuid.uuid4()),
        "edition": edition,
        "pieces": ["0"],
        "lines": ["0-0", "0-1", "0-2"],
        "options": ["0"],
        "piece-0-piece": commission.pieces.get(position=1).pk,
        "piece-0-name": "writing desk",
        "piece-0-words": "Three coats.",
        "line-0-0-kind": "finish", "line-0-0-text": "Coats", "line-0-0-quantity": "2,5",
        "line-0-0-unit": "h", "line-0-0-unit_price": "$40.00",
        "line-0-1-kind": "materials", "line-0-1-text": "Enamel", "line-0-1-quantity": "1",
        "line-0-1-unit": "", "line-0-1-unit_price": "1,118.40", "line-0-1-taxable": "on",
        "line-0-2-kind": "materials", "line-0-2-text": "", "line-0-2-quantity": "1",
        "line-0-2-unit": "", "line-0-2-unit_price": "",
        "option-0-text": "Inside left", "option-0-price": "-40",
        "starts_on": str(today + timedelta(days=5)), "ready_on": str(today + timedelta(days=20)),
        "good_until": str(today + timedelta(days=14)), "deposit_share": "50",
        **other,
    }  # fmt: skip


@pytest.fixture
def draft(commission: Commission, as_owner: Who) -> Quote:
    return actions.start(commission, as_owner)


def at(name: str, commission: Commission, *more: Any) -> str:
    return reverse(name, args=[commission.number, *more])


def test_looking_changes_nothing(desk: Browser, commission: Commission) -> None:
    page = desk.get(at("desk:quote", commission))
    assert b"Start a quote" in page.content
    assert not Quote.objects.exists()
    answer = desk.post(at("desk:quote", commission), {"start": "1"})
    assert answer.status_code == 302
    assert Quote.objects.get().state == "draft"


def test_keeping_reads_what_people_write(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop
) -> None:
    answer = desk.post(at("desk:quote", commission), sheet(commission, draft.edition, shop, read="1"))
    assert answer.status_code == 302
    assert answer["Location"] == at("desk:quote-revision", commission, 1)
    kept = draft_of(commission)
    assert kept is not None
    lines = list(kept.pieces.get().lines.all())
    assert [(line.quantity, line.unit_price, line.taxable) for line in lines] == [
        (Decimal("2.5"), Decimal(40), False),
        (Decimal(1), Decimal("1118.40"), True),
    ], "the empty row is left out"
    assert kept.options.get().price == -40
    assert 'value="40.00"' in desk.get(at("desk:quote", commission)).content.decode()
    read = desk.get(answer["Location"]).content.decode()
    assert "$1,288.30" in read  # 100 + 1118.40 = 1218.40, tax 6.25 % of 1118.40 = 69.90
    assert "Send it" in read


def test_two_tabs(desk: Browser, commission: Commission, draft: Quote, shop: Shop) -> None:
    url = at("desk:quote", commission)
    assert desk.post(url, sheet(commission, draft.edition, shop, note="First")).status_code == 302
    second = desk.post(
        url, sheet(commission, draft.edition, shop, note="Second", **{"line-0-0-text": "My own words"})
    )
    assert second.status_code == 409
    text = second.content.decode()
    assert "saved this quote at" in text
    assert "My own words" in text
    kept = draft_of(commission)
    assert kept is not None
    assert kept.note == "First"
    assert f'name="edition" value="{kept.edition}"' in text, (
        "a second press puts the other in its place, knowingly"
    )


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("line-0-0-unit_price", "twelve", "is not an amount we can read"),
        ("line-0-0-unit_price", "-12", "without a minus sign"),
        ("line-0-0-unit_price", "1.005", "too many decimals"),
        ("line-0-0-unit_price", "99999999", "not believable"),
        ("line-0-0-unit_price", "", "Write the price of one"),
        ("line-0-0-quantity", "0", "More than nothing"),
        ("line-0-0-quantity", "1e3", "Write a number"),
        ("line-0-0-quantity", "-1", "without a minus sign"),
        ("line-0-0-quantity", "0.0001", "At most 3 decimals"),
        ("line-0-0-kind", "magic", "not one of the choices"),
        ("option-0-price", "lots", "is not an amount we can read"),
        ("deposit_share", "120", "more than 100"),
        ("deposit_share", "", "Write 0 for no deposit"),
        ("ready_on", "2001-01-01", "That day is over"),
        ("starts_on", "soon", "could not read that day"),
        ("piece-0-name", "!!", "Say what the piece is"),
    ],
)
def test_a_mistake_stands_beside_its_field_and_nothing_is_lost(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, field: str, value: str, sentence: str
) -> None:
    typed = sheet(commission, draft.edition, shop, **{"line-0-1-text": "Words to keep", field: value})
    page = desk.post(at("desk:quote", commission), typed)
    assert page.status_code == 422
    text = page.content.decode().replace("&#x27;", "'")
    assert sentence in text
    assert "Words to keep" in text
    assert f'id="id_{field}_error"' in text
    assert draft_of(commission).edition == draft.edition  # type: ignore[union-attr]  # it is there


def test_rows_come_and_go_without_a_script(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop
) -> None:
    url = at("desk:quote", commission)
    typed = sheet(commission, draft.edition, shop, **{"line-0-0-unit_price": "half"})
    more = desk.post(url, {**typed, "add_line": "0 materials"})
    assert more.status_code == 200
    text = more.content.decode()
    assert 'name="lines" value="0-3"' in text
    assert 'value="half"' in text
    assert "not an amount" not in text, "nobody is judged before they press Keep"
    less = desk.post(url, {**typed, "remove_line": "0-0"}).content.decode()
    assert 'value="0-0"' not in less
    assert 'name="lines" value="0-1"' in less
    option = desk.post(url, {**typed, "add_option": "1"}).content.decode()
    assert 'name="options" value="1"' in option
    out = desk.post(url, {**typed, "remove_piece": "0"}).content.decode()
    assert "Put the writing desk in" in out
    assert draft_of(commission).edition == draft.edition  # type: ignore[union-attr]  # it is there


def test_the_sums_follow_what_can_be_read(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop
) -> None:
    url = at("desk:quote-sums", commission)
    page = desk.post(url, sheet(commission, draft.edition, shop)).content.decode()
    assert "$1,288.30" in page
    assert "By what they choose and tick: $1,248.30 to $1,288.30." in page
    broken = sheet(commission, draft.edition, shop, **{"line-0-0-unit_price": "x", "deposit_share": ""})
    page = desk.post(url, broken).content.decode()
    assert "$1,188.30" in page
    assert "1 line cannot be counted yet" in page
    assert draft_of(commission).edition == draft.edition  # type: ignore[union-attr]  # it is there


def test_a_form_of_nonsense_does_no_harm(desk: Browser, commission: Commission, draft: Quote) -> None:
    junk = {
        "pieces": ["../../etc", "0"],
        "lines": ["0-x", "9-1", "0-99999"],
        "options": ["-1"],
        "edition": "x",
    }
    assert desk.post(at("desk:quote", commission), junk).status_code == 422
    assert desk.post(at("desk:quote-sums", commission), junk).status_code == 200
    assert desk.post(at("desk:quote-send", commission), {"edition": "²"}).status_code == 302
    assert desk.post(at("desk:quote", commission), {**junk, "add_line": "💥"}).status_code == 200


def test_sending_from_the_page_and_pressing_twice(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop
) -> None:
    desk.post(at("desk:quote", commission), sheet(commission, draft.edition, shop))
    press = {"edition": draft.edition + 1, "submission": str(uuid.uuid4())}
    first = desk.post(at("desk:quote-send", commission), press)
    second = desk.post(at("desk:quote-send", commission), press)
    assert first["Location"] == second["Location"] == at("desk:commission", commission)
    assert Email.objects.filter(kind="quote").count() == 1


@pytest.fixture
def sent(commission: Commission, as_owner: Who) -> Quote:
    return send(commission, as_owner)


def options(quote: Quote) -> list[int]:
    return [option.pk for option in quote.options.all()]


def yes(**other: Any) -> dict[str, Any]:
    return {
        "submission": str(uuid.uuid4()),
        "name": "Ottoline Brask",
        "terms": "on",
        "shown": "685.80",
        **other,
    }


def test_the_client_sees_the_total_move(portal: Browser, commission: Commission, sent: Quote) -> None:
    knobs = options(sent)[0]
    page = portal.get(at("portal:quote", commission)).content.decode()
    assert "$685.80" in page
    assert "Three coats" not in page, "the owner's own lines stay at the desk"
    ticked = portal.get(at("portal:quote", commission), {"option": [str(knobs), "junk"]}).content.decode()
    assert "$762.83" in ticked
    assert f'value="{knobs}" id="option-{knobs}" checked' in ticked
    fragment = portal.get(at("portal:quote", commission), {"option": knobs}, headers={"HX-Request": "true"})
    assert "$762.83" in fragment.content.decode()
    assert "<html" not in fragment.content.decode()
    look = portal.post(at("portal:accept", commission, 1), {"look": "1", "option": knobs, "name": "Otto"})
    assert look.status_code == 200
    assert "$762.83" in look.content.decode()
    assert 'value="Otto"' in look.content.decode()
    assert not Acceptance.objects.exists()


def test_nobody_accepts_a_total_they_have_not_seen(
    portal: Browser, commission: Commission, sent: Quote
) -> None:
    knobs = options(sent)[0]
    page = portal.post(at("portal:accept", commission, 1), yes(option=knobs))
    assert page.status_code == 409
    text = page.content.decode()
    assert "the total is another one" in text
    assert 'name="shown" value="762.83"' in text
    assert not Acceptance.objects.exists()
    agreed = portal.post(at("portal:accept", commission, 1), yes(option=knobs, shown="762.83"))
    assert agreed.status_code == 302
    assert Acceptance.objects.get().total == Decimal("762.83")


def test_two_presses_are_one_acceptance_and_a_second_one_is_told(
    portal: Browser, commission: Commission, sent: Quote
) -> None:
    press = yes()
    url = at("portal:accept", commission, 1)
    assert portal.post(url, press)["Location"] == portal.post(url, press)["Location"]
    other = portal.post(url, yes(name="Somebody Else"))
    assert other.status_code == 409
    assert "accepted already" in other.content.decode()
    assert Acceptance.objects.get().name == "Ottoline Brask"
    assert "Accepted by Ottoline Brask" in portal.get(at("portal:quote", commission)).content.decode()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"name": ""}, "Type your name"),
        ({"name": "🪑"}, "Type the name"),
        ({"terms": ""}, "Tick this if you agree"),
        ({"option": "999999"}, "not in this quote"),
    ],
)
def test_a_yes_with_something_missing(
    portal: Browser, commission: Commission, sent: Quote, change: dict[str, str], sentence: str
) -> None:
    data = {name: value for name, value in yes(**change).items() if value}
    page = portal.post(at("portal:accept", commission, 1), data)
    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert not Acceptance.objects.exists()


def test_an_old_tab_with_an_old_revision(
    portal: Browser, commission: Commission, sent: Quote, as_owner: Who
) -> None:
    draft = actions.start(commission, as_owner)
    actions.send(commission, draft.edition, as_owner)
    page = portal.post(at("portal:accept", commission, 1), yes())
    assert page.status_code == 409
    assert "newer revision" in page.content.decode()
    assert "superseded" in portal.get(at("portal:quote-revision", commission, 1)).content.decode()


def test_an_expired_quote_says_so(portal: Browser, commission: Commission, sent: Quote, shop: Shop) -> None:
    Quote.objects.filter(pk=sent.pk).update(good_until=today_at(shop) - timedelta(days=1))
    assert "Write to us" in portal.get(at("portal:quote", commission)).content.decode()
    page = portal.post(at("portal:accept", commission, 1), yes())
    assert page.status_code == 409
    assert "was good until" in page.content.decode()


def test_declining(portal: Browser, commission: Commission, sent: Quote) -> None:
    answer = portal.post(at("portal:decline-quote", commission, 1), {"reason": "Too dear"})
    assert answer.status_code == 302
    commission.refresh_from_db()
    assert commission.stage == Stage.WITHDRAWN
    assert Email.objects.get(kind="quote-answered").context["reason"] == "Too dear"


def test_strangers_and_drafts_are_not_there(
    portal: Browser, commission: Commission, sent: Quote, as_owner: Who
) -> None:
    actions.start(commission, as_owner)
    assert portal.get(at("portal:quote-revision", commission, 2)).status_code == 404
    other = enter(know_client(name="Somebody Else", email="else@example.com", phone=""))
    for url in (at("portal:quote", commission), at("portal:quote-revision", commission, 1)):
        assert other.get(url).status_code == 404
    for url in (at("portal:accept", commission, 1), at("portal:decline-quote", commission, 1)):
        assert other.post(url, yes()).status_code == 404
    assert not Acceptance.objects.exists()


def test_a_yes_on_paper(
    desk: Browser, commission: Commission, sent: Quote, shop: Shop, picture_file: Any
) -> None:
    url = at("desk:record-acceptance", commission)
    said = {
        "submission": str(uuid.uuid4()), "way": "paper", "name": "Ottoline Brask",
        "said_on": str(today_at(shop)),
        "option": [str(options(sent)[0])],
    }  # fmt: skip
    missing = desk.post(url, said)
    assert missing.status_code == 422
    assert "picture of the signed sheet" in missing.content.decode()
    bad = desk.post(url, {**said, "paper": SimpleUploadedFile("notes.jpg", b"not a picture", "image/jpeg")})
    assert bad.status_code == 422
    assert "notes.jpg" in bad.content.decode()
    assert desk.post(url, {**said, "paper": picture_file("signed.jpg")}).status_code == 302
    acceptance = Acceptance.objects.get()
    assert (acceptance.way, acceptance.total) == ("paper", Decimal("762.83"))
    assert "Agreed with" in desk.get(url).content.decode()


def test_declining_a_request_in_own_words(desk: Browser, commission: Commission) -> None:
    url = at("desk:decline", commission)
    assert "Dear Ottoline Brask" in desk.get(url).content.decode()
    assert desk.post(url, {"words": "🙂"}).status_code == 422
    assert desk.post(url, {"words": "We are full."}).status_code == 302
    commission.refresh_from_db()
    assert commission.stage == Stage.DECLINED
    assert "Only a request" in desk.get(url).content.decode()
