"""What every test can start from: a shop, its owner, a client with a commission, and a worker that runs
when asked."""

from __future__ import annotations

import io
import os
import random
from collections.abc import Callable
from datetime import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.mail import EmailMessage
from django.test import Client as Browser
from PIL import Image

from shopdesk.base import nudge as nudges
from shopdesk.base import sweep
from shopdesk.base.who import Who
from shopdesk.clients.access import link
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission
from shopdesk.shop.models import OpeningWindow, Shop, User

REQUIRED = {word for word in os.environ.get("SHOPDESK_REQUIRE", "").split(",") if word}
"""What must be there (CI): browser, postgres, redis, dovecot, stdlib-mail. A missing one fails; elsewhere it
is skipped with its reason."""


def need(what: str, there: bool, reason: str) -> None:
    """Skip the test when `what` is missing, or fail it where it is required."""
    if there:
        return
    if what in REQUIRED:
        pytest.fail(f"{what} is required here: {reason}")
    pytest.skip(f"{what}: {reason}")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what touches the database, so that `manage.py test` runs that alone again on PostgreSQL."""
    for item in items:
        asked = set(getattr(item, "fixturenames", ()))
        if item.get_closest_marker("django_db") or asked & {"db", "transactional_db", "live_server"}:
            item.add_marker("database")


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, settings: Any) -> None:
    settings.PICTURES = tmp_path / "pictures"
    settings.PICTURES_LEAST_FREE = 0  # wherever the tests run
    settings.DOCUMENTS = tmp_path / "documents"
    settings.MAIL_FOLDER = tmp_path / "mail"
    settings.ARRIVALS = tmp_path / "arrivals"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def nudged(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The nudges that were sent, in order. None reaches a broker."""
    return _record_nudges(monkeypatch)


@pytest.fixture(autouse=True)
def _no_broker(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if "real_broker" not in request.fixturenames:
        _record_nudges(monkeypatch)


@pytest.fixture
def real_broker() -> None:
    """Ask for this to let nudges go to the configured broker."""


def _record_nudges(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    sent: list[str] = []
    monkeypatch.setattr(nudges, "_send", sent.append)
    return sent


@pytest.fixture
def work() -> Callable[[], None]:
    """A worker: `work()` does everything that is due, until nothing is."""

    def run() -> None:
        for _ in range(4):  # pictures, then documents that show them, then emails that carry those
            for runner in sweep.runners().values():
                runner()

    return run


@pytest.fixture
def mailbox(mailoutbox: list[EmailMessage]) -> list[EmailMessage]:
    """The emails that were handed over."""
    return mailoutbox


@pytest.fixture
def shop(db: None) -> Shop:
    made = Shop.objects.create(
        id=1,
        name="Tidewell Bench",
        tagline="Furniture refinished to commission",
        address="8 Slip Lane\nPort Marrin",
        email="hello@tidewell.example.com",
        phone="555-0118",
        zone="America/New_York",
        currency="USD",
        locale="en_US",
        tax_rate=Decimal("6.25"),
        terms="The deposit books the place.\nWhat is not collected within 30 days is stored at $5 a day.",
        included="Taking off and refitting the hardware",
        not_included="Upholstery\nCollection",
        quiet_from=time(0),  # none: tests run at all hours
        quiet_until=time(0),
    )
    for weekday in range(5):
        OpeningWindow.objects.create(weekday=weekday, opens=time(9), closes=time(17))
    return made


@pytest.fixture
def owner(shop: Shop) -> User:
    return User.objects.create_user("runa@tidewell.example.com", "Runa Castellan", "a long walk by the quay")


@pytest.fixture
def as_owner(owner: User) -> Who:
    return Who("owner", owner.pk, "127.0.0.1")


@pytest.fixture
def client_person(shop: Shop) -> Client:
    return know_client(
        name="Ottoline Brask", email="ottoline@example.com", phone="555-0131", address="3 Gull Steps"
    )


@pytest.fixture
def as_client(client_person: Client) -> Who:
    return Who("client", client_person.pk, "127.0.0.1")


@pytest.fixture
def commission(client_person: Client, as_client: Who) -> Commission:
    """Requested, one walnut desk that is varnished and of unknown age."""
    return open_commission(
        NewCommission(
            client=client_person,
            source="page",
            wish=Wish("Its old warmth back, and a top one can write on."),
            pieces=[
                NewPiece("writing desk", width_mm=Decimal(1400), material="walnut", finish_now="varnished")
            ],
        ),
        as_client,
    )


@pytest.fixture
def desk(owner: User) -> Browser:
    """A browser signed in at the desk."""
    browser = Browser()
    browser.force_login(owner)
    return browser


@pytest.fixture
def portal(client_person: Client) -> Browser:
    """A browser that came in by the client's link."""
    return enter(client_person)


def enter(person: Client) -> Browser:
    browser = Browser()
    answer = browser.get(link(grant_of(person), "/my/"))
    assert answer.status_code == 302
    return browser


MakePicture = Callable[..., SimpleUploadedFile]


@pytest.fixture
def picture_file() -> MakePicture:
    """`picture_file("a.jpg", (80, 60), "JPEG")` → an upload of a picture of coloured noise, no two alike."""
    chance = random.Random(7)

    def make(
        name: str = "a.jpg", size: tuple[int, int] = (80, 60), fmt: str = "JPEG", **save: Any
    ) -> SimpleUploadedFile:
        image = Image.frombytes("RGB", (8, 6), chance.randbytes(8 * 6 * 3)).resize(size)
        buffer = io.BytesIO()
        image.save(buffer, fmt, **save)
        return SimpleUploadedFile(name, buffer.getvalue(), content_type=f"image/{fmt.lower()}")

    return make
