"""Which emails somebody gets: the link that stops a sort of them (RFC 8058), and their page's presses."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.clients import stopping
from shopdesk.clients.access import link
from shopdesk.clients.actions import know_client, revoke_links
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, JournalLine, ReminderOff, Stage
from shopdesk.mail import links
from shopdesk.mail.models import Email
from shopdesk.progress.actions import show

pytestmark = pytest.mark.django_db
ONE_CLICK = {"List-Unsubscribe": "One-Click"}
"""What a mail program posts (RFC 8058, section 3.2)."""


def address(person: Client, sort: str) -> str:
    """The path of the link in their emails."""
    whole = links.put_in(stopping.placeholder(grant_of(person), sort))
    return whole.removeprefix("http://localhost:8000")


@pytest.fixture
def strict() -> Browser:
    """A mail program's server: no cookies, and whoever checks for a token finds none."""
    return Browser(enforce_csrf_checks=True)


def off(person: Client) -> tuple[bool, bool]:
    person.refresh_from_db()
    return person.no_news_since is not None, person.no_reminders_since is not None


@pytest.mark.parametrize(("sort", "result"), [("news", (True, False)), ("reminder", (False, True))])
def test_opening_the_link_changes_nothing_and_one_press_does(
    commission: Commission, client_person: Client, strict: Browser, sort: str, result: tuple[bool, bool]
) -> None:
    """RFC 8058, section 1: whatever fetches every link of an email (a virus scanner) must not unsubscribe its
    reader; so GET and HEAD show a page at most."""
    page = address(client_person, sort)
    for method in (strict.get, strict.head):
        answer = method(page)
        assert answer.status_code == 200
        assert not answer.cookies
        assert off(client_person) == (False, False)
    shown = strict.get(page).content.decode()
    assert shown.count("<form") == 1
    assert 'value="off"' in shown
    answer = strict.post(page, {"press": "off"})
    assert answer.status_code == 200
    assert off(client_person) == result
    assert "Done." in answer.content.decode()
    assert 'value="on"' in answer.content.decode()
    strict.post(page, {"press": "on"})
    assert off(client_person) == (False, False)


@pytest.mark.parametrize("form", ["multipart/form-data", "application/x-www-form-urlencoded"])
def test_one_click_of_a_mail_program(
    commission: Commission, client_person: Client, strict: Browser, form: str
) -> None:
    """RFC 8058, section 3.2: the POST carries the pair of List-Unsubscribe-Post in either encoding, without
    cookies or any other context, and is not answered by a redirect. Section 3.1: the address alone says who
    and what, and cannot be guessed."""
    page = address(client_person, "reminder")
    body: dict[str, Any] = {"data": ONE_CLICK}
    if form != "multipart/form-data":
        body = {"data": "List-Unsubscribe=One-Click", "content_type": form}
    answer = strict.post(page, HTTP_USER_AGENT="mail.example.com", **body)
    assert answer.status_code == 200
    assert not answer.cookies
    assert off(client_person) == (False, True)
    since = client_person.no_reminders_since
    again = strict.post(page, **body)  # a mail program that tries twice
    assert again.status_code == 200
    client_person.refresh_from_db()
    assert client_person.no_reminders_since == since
    assert JournalLine.objects.filter(verb="reminder off").count() == 1


def test_the_headers_say_where(
    commission: Commission,
    client_person: Client,
    as_owner: Who,
    settings: Any,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
    strict: Browser,
) -> None:
    """RFC 8058, section 3.1: List-Unsubscribe with an https address, and List-Unsubscribe-Post with that one
    pair; an email that always goes has neither."""
    settings.PUBLIC_URL = "https://tidewell.example.com"
    settings.MAIL_GATHER_SECONDS = 0
    work()
    mailbox.clear()
    Commission.objects.update(stage=Stage.IN_WORK)
    show(commission, "The first coat is on.", as_owner)
    with transaction.atomic():
        to_client(commission, "ready", {"invoice": "", "due": ""})
    Email.objects.update(can_wait=False)  # whatever the hour
    work()
    news = next(mail for mail in mailbox if "ready" not in mail.subject.lower())
    necessary = next(mail for mail in mailbox if "ready" in mail.subject.lower())
    where = news.message()["List-Unsubscribe"]
    assert re.fullmatch(
        r"<https://tidewell\.example\.com/stop/\d+\.news\.[\w-]{43}/>", "".join(where.split())
    )
    assert news.message()["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert "List-Unsubscribe" not in necessary.message()
    assert "/stop/" not in str(necessary.body)
    strict.post(where.removeprefix("<https://tidewell.example.com").removesuffix(">"), ONE_CLICK)
    assert off(client_person) == (True, False)


def test_it_says_nothing_private_and_opens_nothing(
    commission: Commission, client_person: Client, strict: Browser
) -> None:
    """Whoever it was forwarded to learns the shop's name and what would be switched off."""
    page = address(client_person, "news")
    for answer in (strict.get(page), strict.post(page, ONE_CLICK), strict.get(page)):
        said = answer.content.decode()
        assert "Tidewell Bench" in said
        for private in ("Ottoline", "ottoline", "Brask", commission.number, "writing desk", "555-0131"):
            assert private not in said
        assert "no-store" in answer["Cache-Control"]
    assert strict.get(reverse("portal:commission", args=[commission.number])).status_code == 302
    token = page.split("/")[2]
    assert strict.get(f"/in/{token}/")["Location"] == "/fresh-link/?old=1"


def forged(page: str) -> list[str]:
    _, _, token, _ = page.split("/")
    grant, sort, seal = token.split(".")
    return [
        f"{grant}.{sort}.{'x' * 43}",
        f"{grant}.{'reminder' if sort == 'news' else 'news'}.{seal}",
        f"{int(grant) + 1}.{sort}.{seal}",
        f"{grant}.{sort}.{seal[:-1]}",
        f"{grant}.{sort}.",
        f"{grant}.necessary.{seal}",
        f"{grant}.{sort}",
        "x",
        f"{'9' * 400}.news.{seal}",
        f"².news.{seal}",
        f"{grant}.news.ü{seal}",
    ]


def test_a_forged_link_switches_nothing_off(
    commission: Commission, client_person: Client, strict: Browser
) -> None:
    page = address(client_person, "news")
    for token in [*forged(page), link(grant_of(client_person), "/my/").split("/")[4]]:
        for method in (strict.get, strict.post):
            answer = method(f"/stop/{token}/")
            assert answer.status_code == 404, token
            assert "no good" in answer.content.decode()
    assert off(client_person) == (False, False)


def test_old_emails_can_be_stopped_after_the_links_were_replaced(
    commission: Commission, client_person: Client, strict: Browser
) -> None:
    page = address(client_person, "news")
    revoke_links(client_person)
    assert strict.post(page, ONE_CLICK).status_code == 200
    assert off(client_person) == (True, False)


def test_whoever_shares_the_mailbox_is_meant_too(
    commission: Commission, client_person: Client, strict: Browser, shop: Any
) -> None:
    same = know_client(name="O. Brask", email="ottoline@example.com", phone="")
    other = know_client(name="Teal Ambrose", email="teal@example.com", phone="")
    nobody = [know_client(name=name, email="", phone="555-0140") for name in ("Ann Weir", "Bo Weir")]
    strict.post(address(client_person, "reminder"), ONE_CLICK)
    assert [off(one)[1] for one in (client_person, same, other, *nobody)] == [True, True, False, False, False]
    strict.post(address(nobody[0], "reminder"), ONE_CLICK)
    assert [off(one)[1] for one in nobody] == [True, False]


def test_switching_on_is_counted_and_switching_off_never(
    commission: Commission, client_person: Client, strict: Browser
) -> None:
    page = address(client_person, "news")
    answers = []
    for _ in range(12):
        assert strict.post(page, ONE_CLICK).status_code == 200
        answers.append(strict.post(page, {"press": "on"}).status_code)
    assert answers == [200] * 10 + [429] * 2
    assert off(client_person) == (True, False)
    assert JournalLine.objects.filter(verb__startswith="news").count() == 21


def test_the_journal_of_what_is_open_says_who(
    commission: Commission, client_person: Client, strict: Browser, as_owner: Who, desk: Browser
) -> None:
    over = open_commission(
        NewCommission(client_person, "page", Wish("A stool."), [NewPiece("stool")]), as_owner
    )
    Commission.objects.filter(pk=over.pk).update(stage=Stage.COLLECTED)
    strict.post(address(client_person, "news"), ONE_CLICK)
    line = JournalLine.objects.get(verb="news off")
    assert (line.commission, line.by, line.client) == (commission, "client", client_person)
    assert line.words == "Emails about progress switched off"
    page = desk.get(reverse("desk:client", args=[commission.number])).content.decode()
    assert "off since" in page
    Commission.objects.update(stage=Stage.COLLECTED)
    strict.post(address(client_person, "news"), {"press": "on"})
    assert JournalLine.objects.get(verb="news on").commission == over, "the latest, when none is open"


# -- their page --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sort", "result"), [("news", (True, False)), ("reminder", (False, True))])
def test_their_page_switches_off_and_on(
    commission: Commission, client_person: Client, portal: Browser, sort: str, result: tuple[bool, bool]
) -> None:
    page = reverse("portal:emails")
    assert page in portal.get(reverse("portal:commission", args=[commission.number])).content.decode()
    answer = portal.post(page, {"sort": sort, "press": "off"}, follow=True)
    assert off(client_person) == result
    assert "are switched off." in answer.content.decode()
    portal.post(page, {"sort": sort, "press": "on"})
    assert off(client_person) == (False, False)
    portal.post(page, {"sort": "necessary", "press": "off"})
    assert off(client_person) == (False, False)


def test_their_page_asks_for_its_token(client_person: Client) -> None:
    strict = Browser(enforce_csrf_checks=True)
    strict.get(link(grant_of(client_person), "/my/"))
    assert strict.post(reverse("portal:emails"), {"sort": "news", "press": "off"}).status_code == 403
    assert off(client_person) == (False, False)


# -- the desk ----------------------------------------------------------------------------------------------


def test_the_desk_switches_at_each_level(
    commission: Commission, client_person: Client, desk: Browser
) -> None:
    whole, theirs = reverse("desk:reminders"), reverse("desk:client-emails", args=[commission.number])
    here = reverse("desk:commission-reminders", args=[commission.number])
    for page in (whole, theirs, here):
        answer = desk.post(page, {"kind": "settling-in", "press": "off"}, follow=True)
        assert "“How is it settling in?” is switched off" in answer.content.decode()
    rows = set(ReminderOff.objects.values_list("client", "commission"))
    assert rows == {(None, None), (client_person.pk, None), (None, commission.pk)}
    shown = desk.get(reverse("desk:client", args=[commission.number])).content.decode()
    assert "off for all" in shown
    for page in (whole, theirs, here):
        desk.post(page, {"kind": "settling-in", "press": "on"})
    assert not ReminderOff.objects.exists()
    refused = desk.post(whole, {"kind": "quote", "press": "off"}, follow=True)
    assert "There is no such reminder." in refused.content.decode()
    desk.post(theirs, {"sort": "reminder", "press": "off"})
    assert off(client_person) == (False, True)
    assert JournalLine.objects.get(verb="reminder off", words="Reminders switched off").by == "owner"
    assert (
        "switched off since"
        in desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    )


@pytest.mark.parametrize("kind", ["nothing-like-it", "x" * 5000, "../../pyproject", ""])
def test_the_desk_is_told_that_there_is_no_such_reminder(
    desk: Browser, commission: Commission, kind: str
) -> None:
    number = commission.number
    for page in (
        reverse("desk:reminders"),
        reverse("desk:commission-reminders", args=[number]),
        reverse("desk:client-emails", args=[number]),
    ):
        answer = desk.post(page, {"kind": kind, "press": "off"}, follow=True)
        assert "There is no such reminder." in answer.content.decode()
    assert not ReminderOff.objects.exists()
