"""The desk's pages and presses by name, as the owner walks through them."""

from __future__ import annotations

from typing import Any

from django.test import Client as Browser
from django.urls import reverse


def page(desk: Browser, name: str, *args: Any, query: str = "") -> str:
    """A page of the desk, opened well."""
    answer = desk.get(reverse(f"desk:{name}", args=args) + query)
    assert answer.status_code == 200
    return answer.content.decode()


def press(desk: Browser, where: str, /, *args: Any, **data: str) -> str:
    """The page that a press ends on."""
    answer = desk.post(reverse(f"desk:{where}", args=args), data, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()
