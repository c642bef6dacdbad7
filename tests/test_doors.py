"""A walk over every address: each desk address needs the owner, each client address refuses strangers and
other clients, GET changes nothing, and a POST without its token is refused."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.core.cache import cache
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver

from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission
from tests.conftest import enter

pytestmark = pytest.mark.django_db

OPEN_AT_THE_DESK = {"sign-in", "set-up"}
OPEN_TO_ALL = {"front", "enter", "fresh-link", "stop"}
ARGUMENTS: dict[str, Any] = {
    "token": "1.x",
    "size": "small",
    "revision": 1,
    "sample_id": 1,
    "entry_id": 1,
    "pk": 1,
    "change": 1,
    "position": 1,
    "email_id": 1,
    "kind": "pickup",
    "verb": "begin-work",
    "key": uuid.UUID(int=1),
}


def walk(patterns: list[Any], at: str = "", space: str = "") -> Iterator[tuple[str, str, URLPattern]]:
    for pattern in patterns:
        here = at + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from walk(pattern.url_patterns, here, pattern.namespace or space)
        else:
            yield space, here, pattern


def addresses(space: str) -> list[tuple[str, URLPattern]]:
    return [(route, pattern) for where, route, pattern in walk(get_resolver().url_patterns) if where == space]


def filled(route: str, number: str) -> str:
    import re

    def value(found: Any) -> str:
        name = found[1].split(":")[-1]
        return number if name == "number" else str(ARGUMENTS.get(name, 1))

    return "/" + re.sub(r"<([^>]+)>", value, route)


def test_every_desk_address_needs_the_owner(commission: Commission, portal: Browser) -> None:
    stranger = Browser()
    seen = 0
    for route, pattern in addresses("desk"):
        if pattern.name in OPEN_AT_THE_DESK:
            continue
        assert getattr(pattern.callback, "needs", "") == "owner", f"{route} does not say whom it needs"
        for browser in (stranger, portal):  # a client is a stranger at the desk
            for method in (browser.get, browser.post):
                answer = method(filled(route, commission.number))
                assert answer.status_code == 302, (route, answer.status_code)
                assert answer["Location"].startswith("/desk/sign-in/"), route
        seen += 1
    assert seen >= 65


def test_every_client_address_refuses_a_stranger_and_another_client(
    commission: Commission, client_person: Client
) -> None:
    stranger, other = Browser(), enter(know_client(name="Teal Ambrose", email="teal@example.com", phone=""))
    seen = 0
    for route, pattern in addresses("portal"):
        if pattern.name in OPEN_TO_ALL:
            continue
        assert getattr(pattern.callback, "needs", "") == "client", f"{route} does not say whom it needs"
        address = filled(route, commission.number)
        for method in ("get", "post"):
            answer = getattr(stranger, method)(address)
            assert (answer.status_code, answer.get("Location")) == (302, "/fresh-link/"), route
            if pattern.name in ("mine", "emails"):  # of whoever comes
                continue
            answer = getattr(other, method)(address)
            assert answer.status_code in (404, 405), (route, method, answer.status_code)
        seen += 1
    assert seen >= 15


def test_every_address_has_one_of_three_sides() -> None:
    assert {space for space, _, _ in walk(get_resolver().url_patterns)} == {"desk", "portal", "intake"}


def everything() -> dict[str, int]:
    """How many rows each table has: sessions and counts of visits left aside."""
    aside = {"sessions.session", "base.limit", "intake.draft"}
    return {
        model._meta.label_lower: model._base_manager.count()
        for model in apps.get_models()
        if model._meta.label_lower not in aside
    }


def test_opening_an_address_changes_nothing(commission: Commission, desk: Browser, portal: Browser) -> None:
    cache.clear()
    before = everything()
    for space, browser in (("desk", desk), ("portal", portal)):
        for route, _ in addresses(space):
            answer = browser.get(filled(route, commission.number))
            assert answer.status_code < 500, (route, answer.status_code)
    commission.refresh_from_db()
    assert commission.stage == "requested"
    assert everything() == before


def test_a_post_without_its_token_is_refused(
    commission: Commission, owner: Any, client_person: Client
) -> None:
    strict = Browser(enforce_csrf_checks=True)
    strict.force_login(owner)
    for route, pattern in addresses("desk"):
        if pattern.name in OPEN_AT_THE_DESK:
            continue
        answer = strict.post(filled(route, commission.number))
        assert answer.status_code in (403, 405), (route, answer.status_code)
