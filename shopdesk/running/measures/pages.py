"""The client's page and the desk's front page, against a bare Django view behind the same middleware."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.test import Client as Browser
from django.test import RequestFactory
from django.urls import reverse

from shopdesk.running.measures import bare
from shopdesk.running.measures.statements import let_in, signed_in
from shopdesk.running.measures.timing import Ratio, in_turn
from shopdesk.running.measures.world import World

GOAL = 8.0


def measure(world: World, *, rounds: int = 150) -> list[Ratio]:
    """Whole requests, from the WSGI handler to the last byte, with a session's cookie, in a process that keeps its
    connection to the database."""
    client = world.fullest
    client_page = reverse("portal:commission", args=[client.number])
    with _connection_kept():
        return [
            _against_bare("the client's page", let_in(client.client), client_page, rounds),
            _against_bare("the desk's front page", signed_in(world.owner), reverse("desk:today"), rounds),
        ]


def _against_bare(what: str, browser: Browser, address: str, rounds: int) -> Ratio:
    visitor = Visitor(browser)
    return in_turn(
        what, lambda: visitor.get(address), lambda: visitor.get(bare.ADDRESS), goal=GOAL, rounds=rounds
    )


class Visitor:
    """Sends a browser's requests straight into the WSGI handler, as a server in front of it would, without what a
    test client does around that."""

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


@contextmanager
def _connection_kept() -> Iterator[None]:
    """Django closes the connection after each request unless told otherwise; opening it again would be a part of both
    sides and make the ratio look better than it is."""
    request_started.disconnect(close_old_connections)
    request_finished.disconnect(close_old_connections)
    try:
        yield
    finally:
        request_started.connect(close_old_connections)
        request_finished.connect(close_old_connections)
