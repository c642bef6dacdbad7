"""What the owner writes down for themselves reaches no client: on none of their pages, in no email, in no
document or its metadata, in no calendar file."""

from __future__ import annotations

import itertools
import json
import re
from collections import defaultdict
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.db.models.signals import post_save
from django.test import Client as Browser
from django.urls import reverse
from pypdf import PdfReader

from shopdesk.ballpark import actions as ballpark
from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.changes.models import Change
from shopdesk.clients.models import Client
from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, Letter
from shopdesk.conversation import actions
from shopdesk.conversation.models import Note
from shopdesk.documents.models import Document
from shopdesk.mail.words import words
from shopdesk.photos.models import Picture
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Quote
from shopdesk.visits import actions as visits
from tests.browser.world import Builder, World
from tests.conftest import MakePicture
from tests.quotes.making import send
from tests.test_doors import addresses

pytestmark = pytest.mark.django_db

NOTE, CALL, SAID = "Quillhavermark", "Rangthistlemark", "Spokenwindlemark"


@pytest.fixture
def world(client_person: Client, as_owner: Who, picture_file: MakePicture, work: Callable[[], None]) -> World:
    """Commissions that have been through everything, each with a note and a call from its first moment:
    whatever was written or printed later could have taken them up."""

    def noted(sender: Any, instance: Commission, created: bool, **_: Any) -> None:
        if created:
            Note.objects.create(commission=instance, text=NOTE)
            Note.objects.create(commission=instance, text=CALL, call=True)

    post_save.connect(noted, sender=Commission)
    try:
        world = _through_everything(Builder(client_person, as_owner, picture_file, work))
    finally:
        post_save.disconnect(noted, sender=Commission)
    actions.say_to_client(world.at["quoted"], SAID, as_owner)
    work()
    return world


def _through_everything(builder: Builder) -> World:
    at, owner = builder.world.at, builder.owner
    at["ballpark"] = builder.asked("hat stand")
    ballpark.send(at["ballpark"], Decimal(450), Decimal(600), "", owner, how=["By hand."])
    visits.offer_site_visit(at["ballpark"], owner)
    builder.visit(at["ballpark"], "site-visit")
    at["quoted"] = builder.quoted("card cabinet")
    send(at["quoted"], owner)  # the second revision; the first is superseded
    at["dropping off"] = builder.booked("bench")
    builder.visit(at["dropping off"], "drop-off")
    at["changed"] = builder.changed("glazed bookcase")
    builder.propose(at["changed"], "Slipway brown")
    at["fetching"] = builder.ready("tea table")
    builder.visit(at["fetching"], "pickup")
    at["collected"] = builder.ready("armchair")
    builder.pay(at["collected"])
    bench.hand_over(at["collected"], owner)
    at["declined"] = builder.asked("spinet")
    quotes.decline_request(at["declined"], "It is not work that we can take on.", owner)
    at["cancelled"] = builder.booked("wash stand")
    bench.cancel(at["cancelled"], "They move abroad", owner, give_back=Decimal(100), how="cash")
    return builder.world


def test_notes_and_calls_reach_no_client(world: World, portal: Browser, desk: Browser, settings: Any) -> None:
    reached = {
        **_pages(world, portal),
        **_emails(),
        **_documents(Path(settings.DOCUMENTS)),
    }
    assert len(reached) > 100
    for mark in (NOTE, CALL, "Only you see"):
        assert [where for where, text in reached.items() if mark in text] == [], mark
    # The same look finds what was meant for them, in pages and in emails; and the notes are at the desk.
    heard = [where for where, text in reached.items() if SAID in text]
    assert any(where.startswith("/my/") for where in heard)
    assert any(where.startswith("email") for where in heard)
    number = world.number("quoted")
    for page in ("commission", "answer"):
        text = desk.get(reverse(f"desk:{page}", args=[number])).content.decode()
        assert NOTE in text
        assert CALL in text


def _pages(world: World, portal: Browser) -> dict[str, str]:
    """Every page that the client can open, with every argument that there is: the text of each."""
    mine = Commission.objects.filter(client=world.client)
    values: dict[str, list[Any]] = {
        "number": list(mine.values_list("number", flat=True)),
        "revision": sorted(set(Quote.objects.values_list("revision", flat=True))),
        "change": sorted(set(Change.objects.values_list("number", flat=True))),
        "sample_id": list(Sample.objects.values_list("pk", flat=True)),
        "kind": ["drop-off", "pickup", "site-visit"],
        "token": ["1.x"],
        "size": ["small"],
        "key": [
            *Document.objects.values_list("key", flat=True),
            *Picture.objects.values_list("key", flat=True)[:3],
        ],
    }
    with_some = {  # which commissions have one: of the others there is nothing to open
        "revision": set(Quote.objects.values_list("commission__number", flat=True)),
        "change": set(Change.objects.values_list("commission__number", flat=True)),
        "sample_id": set(Sample.objects.values_list("piece__commission__number", flat=True)),
    }
    texts: dict[str, str] = {}
    opened: defaultdict[str, int] = defaultdict(int)
    for route, pattern in addresses("portal"):
        names = [found.split(":")[-1] for found in re.findall(r"<([^>]+)>", route)]
        for chosen in itertools.product(*(values.get(name, [1]) for name in names)):
            given = dict(zip(names, chosen, strict=True))
            if any(given["number"] not in with_some[name] for name in names if name in with_some):
                continue
            filled = iter(chosen)
            path = "/" + re.sub(r"<[^>]+>", lambda _: str(next(filled)), route)  # noqa: B023
            answer = portal.get(path)
            if answer.status_code < 300 and answer["Content-Type"].startswith("text/"):
                texts[path] = answer.content.decode()
                opened[pattern.name or ""] += 1
    assert {"commission", "ask", "quote", "mine", "visit", "visit-ics", "sample-answer", "change"} <= set(
        opened
    )
    return texts


def _emails() -> dict[str, str]:
    """What every email to a client says and carries, and what it was made from."""
    texts = {}
    for letter in Letter.objects.filter(to_client=True).select_related("email"):
        email, said = letter.email, words(letter.email)
        carried = "".join(enclosure.text for enclosure in email.enclosures.all())
        texts[f"email {email.pk}, {email.kind}"] = "\n".join(
            [said.subject, said.text, said.html, json.dumps(email.context), carried]
        )
    return texts


def _documents(folder: Path) -> dict[str, str]:
    """The text, the metadata and the attachments of every PDF, and the content that it was made from."""
    texts = {}
    for document in Document.objects.exclude(path=""):
        path = folder / document.path
        with pikepdf.open(path) as opened:
            about = str(opened.open_metadata()) + str(opened.docinfo)
            enclosed = "".join(
                spec.get_file().read_bytes().decode("utf-8", "replace")
                for spec in opened.attachments.values()
            )
        pages = "".join(page.extract_text() for page in PdfReader(path).pages)
        texts[f"document {document.pk}"] = "\n".join([pages, about, enclosed, json.dumps(document.content)])
    assert len(texts) > 10
    return texts
