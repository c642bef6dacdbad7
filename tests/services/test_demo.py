"""`manage.py demo --no-serve`, played once in a folder of its own: it comes to its end, what it tells of is
there, and it holds an answer by mail, an email that came back and one that waits to be placed."""

from __future__ import annotations

import email
import email.policy
import re
import sqlite3
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import vobject
from pypdf import PdfReader

from tests.services.serving import ROOT, environment

pytestmark = pytest.mark.services

WORDS: dict[str, Any] = tomllib.loads((ROOT / "shared" / "demo" / "scenario.toml").read_text())
PORT = "8766"  # nobody listens there: it is only said, and stands in links
SECONDS = 600
"""It takes one or two minutes, most of them for drawing pictures."""


@dataclass(frozen=True)
class Played:
    """What there is once the demo has ended."""

    folder: Path
    printed: str
    database: sqlite3.Connection

    def rows(self, asked: str) -> list[tuple[Any, ...]]:
        return self.database.execute(asked).fetchall()

    def told(self, ending: str) -> list[Path]:
        """The paths that were printed below the steps."""
        found = re.findall(rf"^ {{6}}(\S.*{re.escape(ending)})$", self.printed, re.MULTILINE)
        return [ROOT / path for path in found]

    def letters(self) -> list[EmailMessage]:
        return [letter(path) for path in self.told(".eml")]


def letter(path: Path) -> EmailMessage:
    """An email by the strict policy, which raises at a defect; every part is read."""
    found = email.message_from_bytes(path.read_bytes(), policy=email.policy.strict)
    assert isinstance(found, EmailMessage)
    for part in found.walk():
        assert part.items()
        if not part.is_multipart():
            assert part.get_content()
    return found


def words_of(one: EmailMessage) -> str:
    body = one.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    var = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "manage.py", "demo", "--no-serve", "--port", PORT],
        cwd=ROOT,
        env=environment(var),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    assert "Traceback" not in said, said
    folder = var / "demo"
    file = f"{(folder / 'shop.sqlite3').as_uri()}?mode=ro"
    with closing(sqlite3.connect(file, uri=True)) as database:
        yield Played(folder, done.stdout, database)


def test_one_answer_came_by_mail_and_was_answered(played: Played) -> None:
    ((by_client, text, quoted, answered, number, shop_hears, verdict, why, path),) = played.rows(
        "SELECT by_client, said.text, said.quoted, said.answered_at, whole.number, heard.state,"
        " came.verdict, came.why, came.path FROM conversation_message AS said"
        " JOIN commissions_commission AS whole ON whole.id = said.commission_id"
        " JOIN mail_email AS heard ON heard.id = said.email_id"
        " JOIN mail_arrival AS came ON came.id = said.arrival_id WHERE said.came_by = 'mail'"
    )
    assert (by_client, text) == (1, WORDS["desk"]["by_mail"])
    assert "> What a fine desk." in quoted
    assert answered, "the shop has answered it"
    assert shop_hears == "done", "and had an email about it"
    assert (verdict, why) == ("placed", f"It answers {number}.")
    came = letter(played.folder / "arrivals" / path)
    asked = [one for one in played.letters() if one["Message-ID"] == came["In-Reply-To"]]
    assert ["What a fine desk." in words_of(one) for one in asked] == [True]
    spoken = "SELECT by_client FROM conversation_message WHERE commission_id = 1 ORDER BY at, id"
    assert played.rows(spoken) == [(0,), (1,), (0,), (1,), (0,)], "the two speak in turn"


def test_one_email_came_back_and_its_address_is_dead(played: Played) -> None:
    address = WORDS["stand"]["email"]
    ((which, kind, to, why),) = played.rows(
        "SELECT id, kind, to_address, trouble FROM mail_email WHERE came_back_at IS NOT NULL"
    )
    assert (kind, to) == ("request-received", address)
    assert why.startswith("It came back: There is no such mailbox")
    assert played.rows("SELECT address, email_id FROM mail_deadaddress") == [(address, which)]
    assert played.rows("SELECT from_address FROM mail_arrival WHERE verdict = 'bounce'") == [
        ("mailer-daemon@mx.example.com",)
    ]


def test_one_email_waits_to_be_placed(played: Played) -> None:
    stranger = WORDS["stranger"]
    waiting = "SELECT from_name, from_address, subject FROM mail_arrival WHERE verdict = 'tray'"
    assert played.rows(waiting) == [(stranger["name"], stranger["email"], stranger["subject"])]
    every = played.rows("SELECT verdict FROM mail_arrival ORDER BY verdict")
    assert every == [("bounce",), ("placed",), ("tray",)], "and nothing else came in"


def test_a_note_and_a_call_are_noted(played: Played) -> None:
    noted = played.rows(
        "SELECT client.name, call, text FROM conversation_note AS note"
        " JOIN commissions_commission AS whole ON whole.id = note.commission_id"
        " JOIN clients_client AS client ON client.id = whole.client_id ORDER BY call"
    )
    desk, stand = WORDS["desk"], WORDS["stand"]
    assert noted == [(desk["name"], 0, desk["note"]), (stand["name"], 1, stand["call"])]


def test_nothing_failed_but_what_came_back_and_nothing_is_left_but_what_is_told(played: Played) -> None:
    every = {name for (name,) in played.rows("SELECT name FROM sqlite_master WHERE type = 'table'")}
    work = {
        table
        for table in every
        if {"state", "lease_until"} <= {column[1] for column in played.rows(f"PRAGMA table_info({table})")}
    }
    assert work == {"documents_document", "mail_arrival", "mail_email", "photos_picture"}
    for table in sorted(work - {"mail_email"}):
        assert played.rows(f"SELECT DISTINCT state, trouble FROM {table}") == [("done", "")], table
    failed = "SELECT kind, to_address FROM mail_email WHERE state = 'failed'"
    assert played.rows(failed) == [("request-received", WORDS["stand"]["email"])]
    # A reminder or news may wait for the morning, when the story ends at night.
    left = (
        "SELECT way, kind, to_address, trouble FROM mail_email"
        " WHERE state NOT IN ('done', 'failed') AND NOT can_wait ORDER BY id"
    )
    assert played.rows(left) == [("tell", "request-received", "", ""), ("tell", "ballpark", "", "")]
    assert played.rows("SELECT why FROM mail_pause") == []


def test_every_step_is_told_with_the_addresses_to_open(played: Played) -> None:
    steps = [int(number) for number in re.findall(r"^ ?(\d+)\. \S", played.printed, re.MULTILINE)]
    assert steps == list(range(1, 22))
    for line in (
        f"The owner's desk   http://localhost:{PORT}/desk/",
        f"{WORDS['owner']['login']}, password: {WORDS['owner']['password']}",
        f"Ask about a piece  http://localhost:{PORT}/request/",
    ):
        assert line in played.printed
    assert re.search(
        rf"^The client's page  http://localhost:{PORT}/in/\S+26-001", played.printed, re.MULTILINE
    )


def test_the_pdfs_are_there_and_are_pdfs(played: Played) -> None:
    rows = played.rows("SELECT path, title, pages FROM documents_document")
    titles = Counter(title.split()[0] for _, title, _ in rows)
    assert titles == {"Quote": 4, "Receipt": 3, "Change": 1, "Invoice": 1}
    known = {played.folder / "documents" / path: (title, pages) for path, title, pages in rows}
    told = played.told(".pdf")
    assert sorted(told) == sorted(known), "each is told once"
    for path in told:
        title, pages = known[path]
        reader = PdfReader(path, strict=True)
        assert len(reader.pages) == pages
        assert reader.metadata is not None
        assert str(reader.metadata.title).startswith(title)
        assert re.search(r"\b26-00[123]\b", reader.pages[0].extract_text()), title


def test_the_emails_are_there_and_are_emails(played: Played) -> None:
    """By their Message-IDs, they are those in the outbox that went out: to whom it says there, and each told
    once. (A reminder may go after the last line: whoever waits is told of in the morning.)"""
    sent = dict(
        played.rows(
            "SELECT message_id, to_address FROM mail_email WHERE way = 'email' AND sort <> 'reminder'"
            " AND bundle_id IS NULL AND not_needed_at IS NULL AND worded_at IS NOT NULL"
        )
    )
    assert len(sent) > 40
    letters = played.letters()
    told = {str(one["Message-ID"]): one["To"].addresses[0].addr_spec for one in letters}
    assert len(told) == len(letters)
    assert {which: to for which, to in told.items() if which in sent} == sent
    for one in letters:
        assert "shopdesk-link:" not in words_of(one)
        assert f"http://localhost:{PORT}/" in words_of(one), "links lead to the shop"


def test_the_calendar_files_are_there_and_say_when(played: Played) -> None:
    visits = dict(played.rows("SELECT uid, starts_at FROM visits_visit"))
    assert len(visits) == 3
    told = played.told(".ics")
    assert len(told) == 3
    for path in told:
        (calendar,) = vobject.readComponents(path.read_bytes().decode())
        assert calendar.method.value == "REQUEST"
        (event,) = calendar.vevent_list
        starts_at = visits.pop(event.uid.value.replace("-", ""))
        assert event.dtstart.value < event.dtend.value
        assert f"{event.dtstart.value:%Y-%m-%d %H:%M:%S}" == starts_at  # both in UTC
    assert visits == {}, "each visit has its file"
