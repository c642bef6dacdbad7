"""A NUL in an address or a form is refused before anything is looked up or kept."""

from __future__ import annotations

import pytest
from django.test import Client as Browser

from shopdesk.commissions.models import Commission
from shopdesk.conversation.models import Message
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "path", ["/desk/c/26%00-001/", "/my/26-001%00/", "/in/1.%00/", "/fresh-link/?old=%00"]
)
def test_in_an_address(shop: Shop, desk: Browser, portal: Browser, path: str) -> None:
    for browser in (desk, portal):
        answer = browser.get(path)
        assert answer.status_code == 400
        assert "could not read that" in answer.content.decode()


def test_in_a_search(desk: Browser) -> None:
    assert desk.get("/desk/c/", {"q": "desk\0"}).status_code == 400
    assert desk.get("/desk/c/", {"q\0": "desk"}).status_code == 400


def test_in_a_form(desk: Browser, portal: Browser, commission: Commission) -> None:
    ask = f"/my/{commission.number}/ask/"
    assert portal.post(ask, {"text": "Is it\0 safe?"}).status_code == 400
    assert portal.post(ask, {"text": "Is it safe?", "photos-kept": "\0"}).status_code == 400
    assert not Message.objects.exists()
    assert portal.post(ask, {"text": "Is it safe?"}).status_code == 302
    assert Browser().post("/fresh-link/", {"email": "\0@example.com"}).status_code == 400
