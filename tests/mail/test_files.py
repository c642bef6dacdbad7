"""Mail as files."""

from __future__ import annotations

import email
import os
import stat
from pathlib import Path
from typing import Any

import pytest
from django.core.mail import EmailMessage, get_connection

from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.models import Email

BACKEND = "shopdesk.mail.files.EmlFiles"


@pytest.fixture
def folder(settings: Any) -> Path:
    settings.EMAIL_BACKEND = BACKEND
    return Path(settings.MAIL_FOLDER)


def test_each_email_is_one_file_for_the_shops_eyes(note: Any, folder: Path) -> None:
    one = note(what="the desk/../../etc", words="Grüße\nfrom us")
    note(what="🪑")
    assert deliver_all() == 2
    paths = sorted(folder.iterdir())
    assert len(paths) == 2
    assert all(path.suffix == ".eml" and stat.S_IMODE(path.stat().st_mode) == 0o600 for path in paths)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    found = next(path for path in paths if "about-the-desketc" in path.name)
    read = email.message_from_bytes(found.read_bytes(), policy=email.policy.default)
    assert read["Message-ID"] == one.message_id
    body = read.get_body(("plain",))
    assert body is not None
    assert "> Grüße\n> from us" in body.get_content().replace("\r\n", "\n")


def test_the_same_email_again_is_the_same_file(note: Any, folder: Path) -> None:
    note()
    deliver_all()
    before = [(path.name, path.read_text().count("\n")) for path in folder.iterdir()]
    Email.objects.update(state="waiting")
    assert deliver_all() == 1
    assert [(path.name, path.read_text().count("\n")) for path in folder.iterdir()] == before


def test_a_full_disk_leaves_no_half_file_and_the_email_in_line(
    note: Any, folder: Path, monkeypatch: Any
) -> None:
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    note()
    monkeypatch.setattr(os, "fsync", full)
    assert deliver_all() == 0
    assert list(folder.iterdir()) == []
    late = Email.objects.get()
    assert late.state == "waiting"
    assert "No space left" in late.trouble


def test_an_email_that_is_not_from_the_outbox_is_a_file_too(folder: Path) -> None:
    letter = EmailMessage("Hello", "there", "a@example.com", ["b@example.com"], headers={"Date": "nonsense"})
    assert get_connection(BACKEND).send_messages([letter]) == 1
    (path,) = folder.iterdir()
    assert "-hello-" in path.name
