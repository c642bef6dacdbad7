"""Two clients with one mailbox: a name spelled in two ways, or two people."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients import stopping
from shopdesk.clients.access import link
from shopdesk.clients.actions import correct, know_client, revoke_links
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, add_shots, open_commission
from shopdesk.commissions.models import Commission, JournalLine, Shot
from shopdesk.photos.actions import take_in
from shopdesk.shop.models import Shop
from tests.conftest import MakePicture, enter

pytestmark = pytest.mark.django_db


def ask(client: Client) -> Commission:
    new = NewCommission(client, "page", Wish("A second thing"), [NewPiece("mirror")])
    return open_commission(new, Who("client", client.pk))


@pytest.mark.parametrize("sort", ["news", "reminder"])
def test_what_was_stopped_in_a_mailbox_comes_to_none_who_reads_it_later(shop: Shop, sort: str) -> None:
    """Whoever stops it reads the emails under every name."""
    columns = stopping.COLUMN.values()

    def in_force(client: Client) -> set[str]:
        kept = Client.objects.get(pk=client.pk)
        assert [getattr(client, one) for one in columns] == [getattr(kept, one) for one in columns]
        return {one for one in stopping.SORTS if stopping.is_off(client, one)}

    def without_email(name: str) -> Client:
        return know_client(name=name, email="", phone="555-0164")

    first = know_client(name="Ottoline Brask", email="ottoline@example.com", phone="")
    moved, spoke = without_email("Anselm Brask"), without_email("Ada Brask")
    since = timezone.now() - timedelta(days=9)
    Client.objects.filter(pk=first.pk).update(**{stopping.COLUMN[sort]: since})
    Client.objects.filter(pk=moved.pk).update(no_news_since=since - timedelta(days=1))

    other = know_client(name="O. Brask", email="Ottoline@example.com", phone="")
    assert other.pk != first.pk
    assert in_force(other) == {sort}
    known = know_client(name="Ada Brask", email="ottoline@example.com", phone="555-0164", by_voice=True)
    assert known.pk == spoke.pk
    assert in_force(known) == {sort}
    correct(moved, name="Anselm Brask", email="ottoline@example.com", phone="555-0164", address="")
    assert in_force(moved) == {sort, "news"}
    assert moved.no_news_since == since - timedelta(days=1), "since when they stopped it themselves"
    assert in_force(know_client(name="Teal Ambrose", email="teal@example.com", phone="")) == set()
    assert in_force(without_email("Runa Brask")) == set()


@pytest.fixture
def also(shop: Shop) -> Client:
    return know_client(name="Otoline Brask", email="ottoline@example.com", phone="")


def open_too(browser: Browser, client: Client) -> None:
    assert browser.get(link(grant_of(client), "/my/")).status_code == 302


def page(browser: Browser, commission: Commission) -> int:
    return browser.get(f"/my/{commission.number}/").status_code


def test_a_second_link_is_added_to_the_first(
    commission: Commission, client_person: Client, also: Client, picture_file: MakePicture
) -> None:
    mirror = ask(also)
    (shot,) = add_shots(commission, [take_in(picture_file(), "a.jpg")], Shot.Kind.REQUEST)
    browser = enter(client_person)
    assert page(browser, mirror) == 404  # the link alone is the key
    open_too(browser, also)
    assert (page(browser, commission), page(browser, mirror)) == (200, 200)
    together = browser.get("/my/").content.decode()
    assert commission.number in together
    assert mirror.number in together
    picture = reverse("portal:picture", args=[shot.picture.key, "small"])
    assert browser.get(picture).status_code == 200
    for one, whose in ((commission, client_person), (mirror, also)):  # what is done is done by its own client
        browser.post(reverse("portal:ask", args=[one.number]), {"text": "A word."})
        assert JournalLine.objects.get(commission=one, verb="client wrote").client == whose


def test_another_mailbox_is_another_session(commission: Commission, client_person: Client) -> None:
    other = know_client(name="Teal Ambrose", email="teal@example.com", phone="")
    hers = ask(other)
    browser = enter(client_person)
    open_too(browser, other)
    assert (page(browser, commission), page(browser, hers)) == (404, 200)


def test_two_without_email_share_nothing(shop: Shop) -> None:
    one, two = (know_client(name=name, email="", phone="555-0164") for name in ("Anselm Roe", "Ada Roe"))
    chairs, stool = ask(one), ask(two)
    browser = enter(one)
    open_too(browser, two)
    assert (page(browser, chairs), page(browser, stool)) == (404, 200)


def test_when_their_addresses_part_so_do_their_sessions(
    commission: Commission, client_person: Client, also: Client
) -> None:
    mirror = ask(also)
    browser = enter(client_person)
    open_too(browser, also)
    Client.objects.filter(pk=client_person.pk).update(email="elsewhere@example.com")
    assert (page(browser, commission), page(browser, mirror)) == (404, 200)


def test_revoking_one_leaves_the_other(commission: Commission, client_person: Client, also: Client) -> None:
    mirror = ask(also)
    browser = enter(client_person)
    open_too(browser, also)
    revoke_links(also)
    assert (page(browser, commission), page(browser, mirror)) == (200, 404)
    revoke_links(client_person)
    assert page(browser, commission) == 302


def test_one_email_carries_both_links(
    commission: Commission,
    client_person: Client,
    also: Client,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    Browser().post("/fresh-link/", {"email": "ottoline@example.com"})
    work()
    (sent,) = [one for one in mailbox if "Your way in" in one.subject]
    for one in (client_person, also):
        assert link(grant_of(one), "/my/") in sent.body
        assert f"The page of {one.name}" in sent.body
