"""The client's page and the desk's front page, against a bare Django view behind the same middleware."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.test import Client as Browser
from django.test import RequestFactory
from django.urls import reverse

from shopdesk.running.measures import bare
from shopdesk.running.measures.statements import let_in, signed_in
from shopdesk.running.measures.timing import Ratio, in_turn
from shopdesk.running.measures.world import World

GOAL = 8.0


def measure(world: World, *, rounds: int = 150) -> list[Ratio]:
    """Whole requests as they are served, from the WSGI handler to the closed answer, with a session's cookie.
    Both sides open and close the database as the settings say (SQLite: once a request)."""
    fullest = world.fullest
    client_page = reverse("portal:commission", args=[fullest.number])
    return [
        _against_bare("the client's page", let_in(fullest.client), client_page, rounds),
        _against_bare("the desk's front page", signed_in(world.owner), reverse("desk:today"), rounds),
    ]


def _against_bare(what: str, browser: Browser, address: str, rounds: int) -> Ratio:
    visitor = Visitor(browser)
    return in_turn(
        what, lambda: visitor.get(address), lambda: visitor.get(bare.ADDRESS), goal=GOAL, rounds=rounds
    )


class Visitor:
    """Sends a browser's requests straight into the WSGI handler, as a server in front of it would, without
    what a test client does around that."""

    def __init__(self, browser: Browser) -> None:
        cookies = "; ".join(f"{name}={morsel.value}" for name, morsel in browser.cookies.items())
        self._environ = RequestFactory(HTTP_COOKIE=cookies, SERVER_NAME="localhost")
        self._handler = WSGIHandler()

    def get(self, address: str) -> bytes:
        answer = self._handler(self._environ.get(address).environ, _ignore)
        body = b"".join(answer)
        answer.close()
        if answer.status_code != HTTPStatus.OK:
            raise AssertionError(f"{address} answered {answer.status_code}")
        return body


def _ignore(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
    return None
