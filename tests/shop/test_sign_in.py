"""Who gets in at the desk."""

from __future__ import annotations

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.models import Limit
from shopdesk.shop.models import Shop, User

pytestmark = pytest.mark.django_db
EMAIL, PASSWORD = "runa@tidewell.example.com", "a long walk by the quay"


def try_in(
    browser: Browser, email: str = EMAIL, password: str = PASSWORD, to: str = "", **extra: str
) -> tuple[int, str]:
    address = reverse("desk:sign-in") + (f"?next={to}" if to else "")
    answer = browser.post(address, {"email": email, "password": password}, **extra)  # type: ignore[arg-type]
    return answer.status_code, answer.headers.get("Location", answer.content.decode())


def test_the_owner_signs_in_and_out(client: Browser, owner: User) -> None:
    assert (
        client.get(reverse("desk:shop"))["Location"]
        == f"{reverse('desk:sign-in')}?next={reverse('desk:shop')}"
    )
    assert try_in(client, email="Runa@Tidewell.example.com") == (302, reverse("desk:today"))
    assert client.get(reverse("desk:shop")).status_code == 200
    assert client.get(reverse("desk:sign-in"))["Location"] == reverse("desk:today")
    assert client.get(reverse("desk:sign-out")).status_code == 405
    assert client.post(reverse("desk:sign-out"))["Location"] == reverse("desk:sign-in")
    assert client.get(reverse("desk:shop")).status_code == 302


@pytest.mark.parametrize(("email", "password"), [(EMAIL, "a long walk"), ("nobody@example.com", PASSWORD)])
def test_a_wrong_word_and_an_unknown_address_hear_the_same(
    client: Browser, owner: User, email: str, password: str
) -> None:
    status, page = try_in(client, email, password)
    assert status == 422
    assert "do not go together" in page
    assert password not in page
    assert "_auth_user_id" not in client.session


def test_somebody_who_has_left_does_not_get_in(client: Browser, owner: User) -> None:
    User.objects.update(is_active=False)
    assert try_in(client)[0] == 422


@pytest.mark.parametrize(
    ("to", "onward"),
    [
        ("/desk/shop/", "/desk/shop/"),
        ("https://elsewhere.example.com/desk/", "/desk/"),
        ("//elsewhere.example.com", "/desk/"),
        ("/%5Celsewhere.example.com", "/desk/"),
        ("javascript:alert(1)", "/desk/"),
    ],
)
def test_it_leads_on_to_pages_of_ours_only(client: Browser, owner: User, to: str, onward: str) -> None:
    assert try_in(client, to=to) == (302, onward)


def test_ten_tries_from_one_address(client: Browser, owner: User) -> None:
    for number in range(10):
        assert try_in(client, f"somebody{number}@example.com", "x")[0] == 422
    status, page = try_in(client)
    assert status == 429
    assert "Wait a little" in page
    assert try_in(client, REMOTE_ADDR="198.51.100.7")[0] == 302


def test_one_address_keeps_nobody_else_out(client: Browser, owner: User) -> None:
    for _ in range(70):
        try_in(client, password="x", REMOTE_ADDR="203.0.113.5")
    assert Limit.objects.get(name=f"sign-in as {EMAIL}").count == 10
    assert try_in(client, REMOTE_ADDR="203.0.113.5")[0] == 429
    assert try_in(client, REMOTE_ADDR="198.51.100.77")[0] == 302


def test_fifty_wrong_tries_for_one_email_from_anywhere(client: Browser, owner: User) -> None:
    for number in range(50):
        assert try_in(client, password="x", REMOTE_ADDR=f"198.51.100.{number}")[0] == 422
    assert try_in(client, REMOTE_ADDR="198.51.100.77")[0] == 429
    Limit.objects.all().delete()  # a quarter of an hour later
    assert try_in(client, REMOTE_ADDR="198.51.100.77")[0] == 302


def test_only_wrong_tries_count(owner: User) -> None:
    for _ in range(12):
        assert try_in(Browser())[0] == 302
    assert set(Limit.objects.filter(name__startswith="sign-in").values_list("count", flat=True)) == {0}
    for _ in range(9):
        assert try_in(Browser(), password="x")[0] == 422
    assert try_in(Browser())[0] == 302
    assert try_in(Browser(), password="x")[0] == 422
    assert try_in(Browser())[0] == 429


def test_a_post_without_a_token_is_refused(owner: User) -> None:
    strict = Browser(enforce_csrf_checks=True)
    assert try_in(strict)[0] == 403
    assert strict.post(reverse("desk:set-up"), {}).status_code == 403


def test_the_page_is_not_kept_by_the_browser(client: Browser, shop: Shop) -> None:
    assert "no-store" in client.get(reverse("desk:sign-in"))["Cache-Control"]
