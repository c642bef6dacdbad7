"""The client's link: who it lets in, and whom it does not."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from django.core import signing
from django.test import Client as Browser

from shopdesk.clients.access import link, placeholder, write_link
from shopdesk.clients.actions import know_client, revoke_links
from shopdesk.clients.models import Client, Grant
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.models import Commission
from shopdesk.shop.models import Shop
from tests.conftest import enter

pytestmark = pytest.mark.django_db


def path_of(address: str) -> str:
    parts = urlsplit(address)
    return f"{parts.path}?{parts.query}"


def test_the_link_leads_to_an_address_without_the_secret(
    client_person: Client, commission: Commission
) -> None:
    browser = Browser()
    address = link(grant_of(client_person), f"/my/{commission.number}/")
    answer = browser.get(path_of(address))
    assert answer.status_code == 302
    assert answer["Location"] == f"/my/{commission.number}/"
    assert browser.get(answer["Location"]).status_code == 200


def test_the_seal_has_256_bits() -> None:
    grant = Grant(pk=3, version=1)
    seal = re.search(r"/in/3\.([\w-]+)/", link(grant, "/my/"))
    assert seal is not None
    assert len(seal[1]) == 43


@pytest.mark.parametrize(
    "token", ["", "1", "1.", "x.y", "9999999.abc", "1.AAAA", "-1.x", "١.x", "1" * 40 + ".x", "1.é"]
)
def test_a_wrong_token_is_offered_a_fresh_link(client_person: Client, token: str) -> None:
    answer = Browser().get(f"/in/{token or '.'}/")
    assert answer.status_code == 302
    assert answer["Location"].startswith("/fresh-link/")


def test_another_grants_seal_does_not_fit(client_person: Client, commission: Commission) -> None:
    other = know_client(name="Teal Ambrose", email="teal@example.com", phone="")
    mine, theirs = grant_of(client_person), grant_of(other)
    forged = path_of(link(theirs, "/my/")).replace(f"/in/{theirs.pk}.", f"/in/{mine.pk}.")
    assert Browser().get(forged)["Location"].startswith("/fresh-link/")


def test_revoking_closes_links_and_sessions(client_person: Client, commission: Commission) -> None:
    browser, old = enter(client_person), path_of(link(grant_of(client_person), "/my/"))
    page = f"/my/{commission.number}/"
    assert browser.get(page).status_code == 200
    revoke_links(client_person)
    assert browser.get(page).status_code == 302
    assert Browser().get(old)["Location"].startswith("/fresh-link/")
    assert enter(client_person).get(page).status_code == 200


def test_another_clients_commission_is_not_there(client_person: Client, commission: Commission) -> None:
    other = know_client(name="Teal Ambrose", email="teal@example.com", phone="")
    assert enter(other).get(f"/my/{commission.number}/").status_code == 404


@pytest.mark.parametrize(
    "to", ["https://evil.example.com/", "//evil.example.com/", "/desk/", "/my/../desk/\\evil", ""]
)
def test_the_door_leads_nowhere_else(client_person: Client, to: str) -> None:
    answer = Browser().get(path_of(link(grant_of(client_person), to)))
    assert answer["Location"].startswith("/my/")


def test_a_forged_session_cookie_is_nobody(client_person: Client, commission: Commission) -> None:
    browser = Browser()
    browser.cookies["shopdesk"] = signing.dumps([grant_of(client_person).pk, 1], key="guessed")
    assert browser.get(f"/my/{commission.number}/").status_code == 302


def test_stored_placeholders_become_links_only_when_handed_over(client_person: Client) -> None:
    grant = grant_of(client_person)
    stored = placeholder(grant, "/my/26-001/")
    assert "in/" not in stored
    assert write_link(stored.removeprefix("shopdesk-link:client/")) == link(grant, "/my/26-001/")
    with pytest.raises(LookupError):
        write_link("999999/my/")


def test_the_same_person_is_known_again_and_two_who_share_an_address_stay_two(client_person: Client) -> None:
    again = know_client(name="ottoline brask", email="Ottoline@Example.com", phone="555-0199")
    assert again.pk == client_person.pk
    sister = know_client(name="Beatrix Brask", email="ottoline@example.com", phone="")
    assert sister.pk != client_person.pk
    assert know_client(name="Ottoline Brask", email="", phone="555-0131").pk != client_person.pk


def test_a_stranger_does_not_put_a_number_into_a_known_clients_row(shop: Shop) -> None:
    known = know_client(name="Ada Nwosu", email="ada@example.com", phone="")
    assert know_client(name="Ada Nwosu", email="ada@example.com", phone="555-0199").phone == ""
    known.refresh_from_db()
    assert known.phone == ""
    assert (
        know_client(name="Ada Nwosu", email="ada@example.com", phone="555-0120", by_voice=True).phone
        == "555-0120"
    )
