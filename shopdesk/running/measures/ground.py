"""A database and folders of their own for the time of a measurement, as a shop in earnest has them (no
debug, static files with hashed names), gone afterwards. The shop that lives here is not touched."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.test.utils import override_settings

from shopdesk.celery import app as celery
from shopdesk.look import fonts


@contextmanager
def own_ground(urlconf: str) -> Iterator[None]:
    """Everything inside happens in a fresh, migrated database of the configured kind (PostgreSQL: beside the
    configured one, on the same server), with `urlconf` on top."""
    with tempfile.TemporaryDirectory(prefix="shopdesk-measure-") as name:
        folder = Path(name)
        own = override_settings(
            DEBUG=False,
            ALLOWED_HOSTS=["*"],
            SECURE_SSL_REDIRECT=False,
            ROOT_URLCONF=urlconf,
            PICTURES=folder / "pictures",
            DOCUMENTS=folder / "documents",
            MAIL_FOLDER=folder / "mail",
            STATIC_ROOT=folder / "static",
        )
        with own, _own_database(folder), _nobody_listens(), _quiet():
            (folder / "static").mkdir()
            fonts.build(settings.FONTS)
            call_command("collectstatic", interactive=False, verbosity=0)
            yield


@contextmanager
def _own_database(folder: Path) -> Iterator[None]:
    before = connection.settings_dict["NAME"]
    test = connection.settings_dict["TEST"]
    test["NAME"] = (
        str(folder / "db.sqlite3") if connection.vendor == "sqlite" else f"measure_{uuid4().hex[:12]}"
    )
    connection.creation.create_test_db(verbosity=0, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(before, verbosity=0)


@contextmanager
def _quiet() -> Iterator[None]:
    """Addresses that answer "not like this" are a part of the walk, and no news."""
    logger = logging.getLogger("django.request")
    before = logger.level
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        logger.setLevel(before)


@contextmanager
def _nobody_listens() -> Iterator[None]:
    """Nudges go to a broker in this process' memory: the shop's own workers hear nothing of them."""
    before = celery.conf.broker_url, celery.conf.broker_transport_options
    celery.conf.update(broker_url="memory://", broker_transport_options={})
    try:
        yield
    finally:
        celery.conf.update(broker_url=before[0], broker_transport_options=before[1])
