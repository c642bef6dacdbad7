"""A conversation from both sides in real browsers, without JavaScript: the client writes with a picture, the
owner finds it, puts a quick answer in, is stopped by what cannot be filled, sends, notes a call; and the
client reads the answer and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from django.conf import settings
from django.core.mail import EmailMessage
from django.test import Client as Session
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from shopdesk.base.who import Who
from shopdesk.clients.access import link
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.models import Commission
from shopdesk.conversation import quick
from shopdesk.conversation.models import Message, Note
from shopdesk.look import fonts
from tests.browser.conftest import PHONE, Complaints, at_width, no_sideways
from tests.conftest import MakePicture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def home(live_server: LiveServer, settings: Any) -> str:
    fonts.build(settings.FONTS)
    settings.PUBLIC_URL = live_server.url
    return str(live_server.url)


@pytest.fixture
def window(browser: Browser, complaints: Complaints) -> Iterator[Callable[[], Page]]:
    """`window()` → a phone of somebody's own, without JavaScript."""
    opened: list[BrowserContext] = []

    def open_one() -> Page:
        context = at_width(browser, PHONE, complaints, java_script_enabled=False)
        opened.append(context)
        return context.new_page()

    yield open_one
    for context in opened:
        context.close()


def press(page: Page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).click()


def test_both_sides_write_and_read(
    window: Callable[[], Page],
    home: str,
    desk: Session,
    commission: Commission,
    client_person: Client,
    as_owner: Who,
    picture_file: MakePicture,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
    complaints: Complaints,
) -> None:
    quick.keep("Ready when", "Your {pieces} will be ready {ready_date}, {name}.", as_owner)
    theirs, ours = window(), window()
    theirs.goto(link(grant_of(client_person), f"/my/{commission.number}/"))
    theirs.get_by_role("link", name="Write to us").click()
    theirs.locator("[name=text]").fill("Is the veneer safe? <b>See</b> https://example.com/veneer.")
    theirs.locator("[name=photos]").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": picture_file().read()}
    )
    press(theirs, "Send")
    expect(theirs.locator("#said")).to_contain_text("<b>See</b> https://example.com/veneer.")

    ours.context.add_cookies(
        [
            {
                "name": settings.SESSION_COOKIE_NAME,
                "value": desk.cookies[settings.SESSION_COOKIE_NAME].value,
                "url": home,
            }
        ]
    )
    ours.goto(f"{home}/desk/said/")
    expect(ours.locator("main")).to_contain_text("1 conversation waits for you")
    ours.get_by_role("link", name=re.compile("^Answer Ottoline Brask")).click()
    expect(ours.locator(".said li")).to_contain_text("New")
    safe = ours.get_by_role("link", name="https://example.com/veneer")
    expect(safe).to_have_attribute("rel", "nofollow noopener noreferrer")

    ours.locator("[name=text]").fill("Dear Ottoline, it is.")
    ours.locator("[name=quick]").select_option(label="Ready when")
    press(ours, "Put it in")
    assert Message.objects.count() == 1
    expect(ours.locator("#write")).to_contain_text("There is no ready date yet.")
    box = ours.locator("[name=text]")
    expect(box).to_have_value(
        "Dear Ottoline, it is.\n\nYour writing desk will be ready {ready_date}, Ottoline Brask."
    )
    press(ours, "Send")
    expect(ours.locator("#write .err")).to_contain_text("There is no ready date yet.")
    assert Message.objects.count() == 1
    no_sideways(ours)
    Commission.objects.update(ready_on=date(2031, 12, 9))
    press(ours, "Send")
    expect(ours.locator("#said")).to_contain_text("ready December 9, 2031, Ottoline Brask.")

    ours.get_by_role("link", name=re.compile("or note a call")).click()
    ours.locator("#own_note").fill("Rang, will bring the key on Friday")
    press(ours, "It was a call")
    expect(ours.locator("li.own")).to_contain_text("Only you see this")
    assert Note.objects.get().call

    work()
    (letter,) = [mail for mail in mailbox if "December 9, 2031" in str(mail.body)]
    address = re.search(rf"{re.escape(home)}/in/\S+", str(letter.body))
    assert address is not None
    theirs.goto(address[0])
    expect(theirs.locator(".said")).to_contain_text("ready December 9, 2031, Ottoline Brask.")
    assert "Rang, will bring the key" not in theirs.content()
    theirs.locator("[name=text]").fill("Thank you.")
    press(theirs, "Send")

    ours.goto(f"{home}/desk/c/{commission.number}/answer/")
    press(ours, "Nothing to answer")
    ours.goto(f"{home}/desk/said/")
    expect(ours.locator("main")).to_contain_text("Nobody waits.")
    assert complaints.said == []
