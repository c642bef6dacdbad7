"""Somebody at the request page, with a browser of their own."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client as Browser

from shopdesk.shop.models import Shop
from tests.mail.arriving import arrive as arrive
from tests.mail.arriving import inbox as inbox
from tests.mail.arriving import letter as letter

ASKED = {
    "pieces": "1",
    "piece0-name": "walnut bureau",
    "wish": "Its old warmth back.",
    "name": "Ismay Thorne",
    "email": "ismay@example.com",
}
"""Enough for a request."""


class Visitor:
    """A browser that opened the request page and presses its buttons."""

    def __init__(self, **extra: Any) -> None:
        self.browser = Browser(**extra)
        self.page = self.browser.get("/request/")
        assert self.page.status_code == 200

    @property
    def key(self) -> str:
        found = re.search(r'name="submission" value="([0-9a-f-]+)"', self.page.content.decode())
        assert found
        return found[1]

    def open(self) -> str:
        self.page = self.browser.get("/request/")
        return self.page.content.decode()

    def send(self, said: dict[str, Any] | None = None, /, **more: Any) -> Any:
        """Press "Send the request" with these fields and the page's key."""
        fields = {"submission": self.key, **(ASKED if said is None else said), **more}
        return self.browser.post("/request/", fields)


@pytest.fixture
def visitor(shop: Shop) -> Visitor:
    return Visitor()
