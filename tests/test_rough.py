"""Rough treatment that goes through more than one room: what the rooms' own tests do not see alone."""

from __future__ import annotations

import random
import resource
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from PIL import Image

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.clients.access import link
from shopdesk.clients.actions import revoke_links
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.colours import actions as colours
from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.conversation.models import Message
from shopdesk.deposits.actions import let_off
from shopdesk.photos.models import Picture
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.conftest import MakePicture
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def quote(commission: Commission, as_owner: Who) -> Quote:
    return send(commission, as_owner)


@pytest.fixture
def on_the_bench(
    commission: Commission, quote: Quote, as_owner: Who, as_client: Who, shop: Shop
) -> Commission:
    quotes.accept(quote.pk, [], "Ottoline Brask", as_client)
    let_off(commission, "A regular", as_owner)
    bench.check_in(commission, today_at(shop), as_owner)
    bench.begin_work(commission, as_owner)
    return commission


@pytest.fixture
def sample(on_the_bench: Commission, as_owner: Who) -> Sample:
    piece = on_the_bench.pieces.get()
    return colours.propose(piece, colours.NewSample("Slipway brown"), as_owner)


def accepting(quote: Quote, name: str) -> dict[str, str]:
    return {"name": name, "terms": "on", "shown": "685.80"}


# -- names and words -----------------------------------------------------------------------------------------

NO_NAMES = ["🪑", "🙂🙂🙂", "👩‍🔧", "❤️", "...", "\u200b\u200d", "\u0301"]


@pytest.mark.parametrize("name", NO_NAMES)
def test_nobody_is_called_that(
    portal: Browser, desk: Browser, commission: Commission, quote: Quote, name: str
) -> None:
    number = commission.number
    page = portal.post(reverse("portal:accept", args=[number, 1]), accepting(quote, name))
    assert page.status_code == 422
    typed = {"name": name, "said_on": "2026-01-01", "way": "word"}
    assert desk.post(reverse("desk:record-acceptance", args=[number]), typed).status_code == 422
    typed = {"name": name, "phone": "555-0199", "wish": "A stool", "source": "phone"}
    assert desk.post(reverse("desk:new-request"), typed).status_code == 422
    assert not Acceptance.objects.exists()
    assert Commission.objects.count() == Client.objects.count() == 1


@pytest.mark.parametrize("name", NO_NAMES)
def test_nobody_who_is_called_that_approves_a_colour(
    portal: Browser, desk: Browser, on_the_bench: Commission, sample: Sample, name: str
) -> None:
    where = [on_the_bench.number, sample.pk]
    page = portal.post(
        reverse("portal:sample-answer", args=where), {"name": name, "answer_is": "approve"}, follow=True
    )
    assert page.status_code in (409, 422)
    desk.post(reverse("desk:sample-answer", args=where), {"name": name, "answer": "approve"}, follow=True)
    sample.refresh_from_db()
    assert sample.state == Sample.State.PROPOSED


@pytest.mark.parametrize("name", ["Zoë 🪑", "李", "Ó", "O’Hara-Łukasz"])
def test_people_are_called_that(
    portal: Browser, commission: Commission, quote: Quote, name: str, work: Callable[[], None]
) -> None:
    page = portal.post(reverse("portal:accept", args=[commission.number, 1]), accepting(quote, name))
    assert page.status_code == 302
    work()
    assert Acceptance.objects.get().name == name


def test_a_message_of_five_thousand_lines_and_one_that_just_fits(
    portal: Browser,
    desk: Browser,
    commission: Commission,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    number = commission.number
    theirs, ours = reverse("portal:ask", args=[number]), reverse("desk:answer", args=[number])
    for browser, page in ((portal, theirs), (desk, ours)):
        answer = browser.post(page, {"text": "no\n" * 5000})
        assert answer.status_code == 422
        assert answer.content.decode().count("no\n") >= 4999  # what was typed is all still there
        assert not Message.objects.exists()
    lines = "\n".join("x" for _ in range(2500))  # 4,999 characters
    for browser, page in ((portal, theirs), (desk, ours)):
        assert browser.post(page, {"text": lines}).status_code == 302
    for browser, page in ((portal, "portal:commission"), (desk, "desk:commission"), (desk, "desk:today")):
        where = reverse(page, args=[] if page == "desk:today" else [number])
        assert browser.get(where).status_code == 200
    work()
    long = [letter for letter in mailbox if str(letter.body).count("x") >= 2500]
    assert len(long) == 2  # one to each side, with all of it


# -- old pages -----------------------------------------------------------------------------------------------


def test_a_page_that_stayed_open_after_its_link_was_revoked(
    portal: Browser, commission: Commission, quote: Quote, client_person: Client, as_owner: Who
) -> None:
    old = link(grant_of(client_person), f"/my/{commission.number}/")
    revoke_links(client_person)
    answer = portal.post(
        reverse("portal:accept", args=[commission.number, 1]), accepting(quote, "Ottoline Brask")
    )
    assert (answer.status_code, answer["Location"]) == (302, reverse("portal:fresh-link"))
    assert not Acceptance.objects.exists()
    again = Browser().get(old, follow=True)
    assert again.status_code == 200
    assert "That link is no longer good" in again.content.decode()
    fresh = Browser().get(link(grant_of(client_person), f"/my/{commission.number}/"), follow=True)
    assert "Your quote is here." in fresh.content.decode()


def test_a_press_on_a_page_that_the_other_tab_has_overtaken(
    desk: Browser, on_the_bench: Commission, as_owner: Who
) -> None:
    press = reverse("desk:move", args=[on_the_bench.number, "set-to-dry"])
    first = desk.post(press, follow=True)
    assert "Drying." in first.content.decode()
    second = desk.post(press, follow=True)
    assert second.status_code == 200
    assert "drying by now" in second.content.decode()
    assert JournalLine.objects.filter(verb=Stage.DRYING).count() == 1


def test_a_sample_answered_in_two_tabs(portal: Browser, on_the_bench: Commission, sample: Sample) -> None:
    page = reverse("portal:sample-answer", args=[on_the_bench.number, sample.pk])
    assert portal.post(page, {"name": "Ottoline Brask", "answer_is": "approve"}).status_code == 302
    late = portal.post(page, {"name": "Ottoline Brask", "answer_is": "again", "answer": "Warmer"})
    assert late.status_code == 409
    sample.refresh_from_db()
    assert sample.state == Sample.State.APPROVED
    assert JournalLine.objects.filter(verb__startswith="sample ").exclude(verb="sample proposed").count() == 1


def test_a_quote_that_was_superseded_while_it_was_read(
    portal: Browser, commission: Commission, quote: Quote, as_owner: Who
) -> None:
    """The client has revision 1 open; revision 2 goes out; each press counts for what it was shown."""
    send(commission, as_owner)
    old = reverse("portal:accept", args=[commission.number, 1])
    page = portal.post(old, accepting(quote, "Ottoline Brask"))
    assert page.status_code == 409
    assert reverse("portal:quote", args=[commission.number]) in page.content.decode()
    assert not Acceptance.objects.exists()
    new = reverse("portal:accept", args=[commission.number, 2])
    assert portal.post(new, accepting(quote, "Ottoline Brask")).status_code == 302
    assert Acceptance.objects.get().quote.revision == 2
    assert portal.post(old, accepting(quote, "Ottoline Brask")).status_code == 409


# -- the disk ------------------------------------------------------------------------------------------------


@contextmanager
def no_file_larger_than(size: int) -> Iterator[None]:
    """The system itself refuses to write more, as a full disk does (setrlimit(2): EFBIG)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def big_picture() -> SimpleUploadedFile:
    """Noise, which no format makes smaller: twelve megabytes."""
    noise = random.Random(3).randbytes(2000 * 2000 * 3)
    file = BytesIO()
    Image.frombytes("RGB", (2000, 2000), noise).save(file, "PNG", compress_level=1)
    return SimpleUploadedFile("front.png", file.getvalue(), content_type="image/png")


@pytest.mark.parametrize("side", ["portal", "desk"])
def test_no_room_for_a_picture(
    portal: Browser,
    desk: Browser,
    commission: Commission,
    side: str,
    settings: Any,
    picture_file: MakePicture,
    tmp_path: Any,
) -> None:
    browser = portal if side == "portal" else desk
    name = "portal:ask" if side == "portal" else "desk:answer"
    page, upload = reverse(name, args=[commission.number]), big_picture()
    settings.FILE_UPLOAD_MAX_MEMORY_SIZE = 50_000_000  # the upload itself does not go by the disk
    with no_file_larger_than(8_000_000):
        answer = browser.post(page, {"text": "Look at this", "photos": [upload, picture_file("side.jpg")]})
    assert answer.status_code == 422
    said = answer.content.decode()
    assert "no room left to keep “front.png”" in said
    assert "Look at this" in said
    assert not Message.objects.exists()
    (kept,) = Picture.objects.all()  # the small one found its place and is not asked for again
    assert kept.original_name == "side.jpg"
    files = [path for path in settings.PICTURES.rglob("*") if path.is_file()]
    assert [path.read_bytes() for path in files] == [(settings.PICTURES / kept.original_path).read_bytes()]
    upload.seek(0)
    assert browser.post(page, {"text": "Look at this", "photos": [upload]}).status_code == 302
    assert Message.objects.get().shots.get().picture.original_name == "front.png"
