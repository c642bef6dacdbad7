"""A template of the tests' own, a way to write an email with it, and a mail server that answers as told."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.utils import timezone

from shopdesk.base import blobs
from shopdesk.mail import delivery
from shopdesk.mail.actions import Person, write
from shopdesk.mail.models import Email

SHOP = Person("Tidewell Bench", "hello@tidewell.example.com")
OTTOLINE = Person("Ottoline Brask", "ottoline@example.com")

NOTE = """Subject: About {what}

Dear {name}, a word about **{what}**:

> {words}

{listed}

{link}
"""
NOTE_PARTS = {
    "listed": "{% for item in items %}- {{ item.text }}\n{% endfor %}",
    "link": "{% if page %}[Open your page]({{ page }}){% endif %}",
}

Write = Callable[..., Email]


class Clock:
    """The time that everything goes by, as long as a test has it."""

    def __init__(self) -> None:
        self.now = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **span: float) -> None:
        self.now += timedelta(**span)

    def to(self, *when: int) -> None:
        """`to(2026, 11, 26, 8, 30)`, in UTC."""
        self.now = datetime(*when, tzinfo=UTC)  # type: ignore[misc,arg-type]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(timezone, "now", made)
    return made


@pytest.fixture
def template(tmp_path: Path, settings: Any) -> Callable[..., None]:
    """`template("note", words, parts)` puts a kind of email beside the shop's own."""
    folder = tmp_path / "templates"
    (folder / "emails").mkdir(parents=True)
    configured = dict(settings.TEMPLATES[0])
    settings.TEMPLATES = [{**configured, "DIRS": [folder, *configured["DIRS"]]}]

    def put(kind: str, text: str, parts: dict[str, str] | None = None) -> None:
        about = [
            'title = "Note"',
            'purpose = "A note."',
            'goes = "Now."',
            'section = "At any time"',
            'to = "client"',
            "[parts]",
        ]
        about += [f"{name} = {json.dumps(part)}" for name, part in (parts or {}).items()]
        head = ['sort = "necessary"', "can_wait = false"]
        (folder / "emails" / f"{kind}.md").write_text(text, encoding="utf-8")
        (folder / "emails" / f"{kind}.toml").write_text("\n".join([*head, *about]), encoding="utf-8")

    put("note", NOTE, NOTE_PARTS)
    return put


@pytest.fixture
def note(db: None, template: Callable[..., None]) -> Write:
    """`note(words="…", to=…)` writes an email of kind "note" in a transaction of its own."""

    def make(kind: str = "note", *, to: Person = OTTOLINE, sender: Person = SHOP, **rest: Any) -> Email:
        own = ("thread", "enclose", "gather", "first_at_once", "due_at")
        given = {key: rest.pop(key) for key in own if key in rest}
        given.setdefault("thread", "commission 1")
        context = {"name": to.name, "what": "the desk", "words": "It is here.", "items": [], **rest}
        with transaction.atomic():
            return write(kind, to=to, sender=sender, context=context, **given)

    return make


class Server(BaseEmailBackend):
    """A mail server that answers as it was told, one answer an email, and takes what comes after that.
    `doors` are its answers to a new connection; `always` its answers to whoever is named, "" for all."""

    answers: list[Exception | None] = []
    doors: list[Exception | None] = []
    always: dict[str, Exception] = {}
    taken: list[EmailMessage] = []
    tried: list[EmailMessage] = []
    opened = 0

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_open = False

    def open(self) -> bool:
        if self.is_open:
            return False
        door = Server.doors.pop(0) if Server.doors else None
        if door is not None:
            raise door
        Server.opened += 1
        self.is_open = True
        return True

    def close(self) -> None:
        self.is_open = False

    def send_messages(self, email_messages: Any) -> int:
        assert self.is_open, "an email is handed over through a line that was opened before"
        for letter in email_messages:
            Server.tried.append(letter)
            answer = Server.answers.pop(0) if Server.answers else None
            answer = answer or Server.always.get(letter.to[0]) or Server.always.get("")
            if answer is not None:
                raise answer
            Server.taken.append(letter)
        return len(email_messages)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> type[Server]:
    Server.answers, Server.doors, Server.always = [], [], {}
    Server.taken, Server.tried, Server.opened = [], [], 0
    monkeypatch.setattr(delivery, "get_connection", Server)
    return Server


@pytest.fixture
def bytes_of(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """`bytes_of["1"] = blob or error`: what "things:1" leads to."""
    kept: dict[str, Any] = {}

    def fetch(name: str) -> blobs.Blob:
        found = kept.get(name, blobs.NotYet())
        if isinstance(found, Exception):
            raise found
        assert isinstance(found, blobs.Blob)
        return found

    monkeypatch.setitem(blobs._fetchers, "things", fetch)
    return kept
