"""A template of the tests' own, a way to write an email with it, and a mail server that answers as told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction

from shopdesk.mail import delivery
from shopdesk.mail.actions import Person, write
from shopdesk.mail.models import Email

SHOP = Person("Tidewell Bench", "hello@tidewell.example.com")
OTTOLINE = Person("Ottoline Brask", "ottoline@example.com")

NOTE = """Subject: About {{ what }}

Dear {{ name }}, a word about **{{ what }}**:

> {{ words }}

{% for item in items %}- {{ item.text }}
{% endfor %}
{% if page %}[Open your page]({{ page }}){% endif %}
"""

Write = Callable[..., Email]


@pytest.fixture
def template(tmp_path: Path, settings: Any) -> Callable[[str, str], None]:
    """`template("note", text)` puts a template beside the shop's own."""
    folder = tmp_path / "templates"
    (folder / "emails").mkdir(parents=True)
    configured = dict(settings.TEMPLATES[0])
    settings.TEMPLATES = [{**configured, "DIRS": [folder, *configured["DIRS"]]}]

    def put(kind: str, text: str) -> None:
        (folder / "emails" / f"{kind}.md").write_text(text, encoding="utf-8")

    put("note", NOTE)
    return put


@pytest.fixture
def note(db: None, template: Callable[[str, str], None]) -> Write:
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
    """A mail server that answers as it was told, one answer an email, and takes what comes after that."""

    answers: list[Exception | None] = []
    taken: list[EmailMessage] = []
    tried: list[EmailMessage] = []
    opened = 0

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_open = False

    def open(self) -> bool:
        if self.is_open:
            return False
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
            if answer is not None:
                raise answer
            Server.taken.append(letter)
        return len(email_messages)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> type[Server]:
    Server.answers, Server.taken, Server.tried, Server.opened = [], [], [], 0
    monkeypatch.setattr(delivery, "get_connection", Server)
    return Server
