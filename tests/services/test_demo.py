"""The demo's story, played once from an empty folder to its last line: what it shows of the conversation and
of the mail, and that each paper whose path it prints is one."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import dataclass
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pypdf
import pytest
import vobject

from tests.services.conftest import free_port
from tests.services.serving import ROOT, environment

STEPS = 21


@dataclass(frozen=True)
class Played:
    said: str
    folder: Path

    def rows(self, question: str) -> list[tuple[Any, ...]]:
        shop = sqlite3.connect(f"{(self.folder / 'shop.sqlite3').as_uri()}?mode=ro", uri=True)
        with closing(shop):
            return shop.execute(question).fetchall()

    def papers(self, ending: str) -> list[Path]:
        """The files of that kind whose paths were printed."""
        found = re.findall(rf"^ +(/\S.*\.{ending})$", self.said, re.MULTILINE)
        return [Path(path) for path in dict.fromkeys(found)]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Played:
    var = tmp_path_factory.mktemp("var")
    command = [sys.executable, "manage.py", "demo", "--no-serve", "--port", str(free_port())]
    done = subprocess.run(
        command, cwd=ROOT, env=environment(var), capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return Played(done.stdout, var / "demo")


def test_every_step_is_told_and_none_fails(played: Played) -> None:
    assert re.findall(r"^ ?(\d+)\. ", played.said, re.MULTILINE) == [str(n + 1) for n in range(STEPS)]
    failed = played.rows(
        "select kind, to_address, came_back_at is not null from mail_email where state = 'failed'"
    )
    assert failed == [("request-received", "tilde.ekwal@example.com", 1)]
    under_way = played.rows(
        "select count(*) from mail_email where way = 'email' and state not in ('done', 'failed')"
    )
    assert under_way == [(0,)]


def test_a_conversation_with_an_answer_by_mail(played: Played) -> None:
    said = played.rows(
        "select by_client, came_by from conversation_message join commissions_commission as c"
        " on c.id = commission_id where c.number = '26-001' order by at, conversation_message.id"
    )
    assert said[:2] == [(0, "desk"), (1, "mail")]
    (answer,) = played.rows(
        "select a.verdict, m.quoted <> '' from conversation_message as m join mail_arrival as a"
        " on a.id = m.arrival_id where m.came_by = 'mail'"
    )
    assert answer == ("placed", 1)


def test_a_bounce_a_strangers_mail_a_note_and_a_call(played: Played) -> None:
    assert played.rows("select address from mail_deadaddress") == [("tilde.ekwal@example.com",)]
    verdicts = "select verdict, count(*) from mail_arrival group by verdict order by verdict"
    assert played.rows(verdicts) == [("bounce", 1), ("placed", 1), ("tray", 1)]
    calls = "select call, count(*) from conversation_note group by call order by call"
    assert played.rows(calls) == [(0, 1), (1, 1)]
    to_tell = "select count(*) from mail_email where way = 'tell' and told_at is null and to_address = ''"
    assert played.rows(to_tell)[0][0] >= 1


def test_what_is_printed_is_there_and_is_what_it_says(played: Played) -> None:
    emails, papers, visits = (played.papers(ending) for ending in ("eml", "pdf", "ics"))
    assert min(len(emails), len(papers), len(visits)) >= 3
    for path in emails:
        letter = message_from_bytes(path.read_bytes(), policy=policy.default)
        assert [*letter.defects, *(defect for part in letter.walk() for defect in part.defects)] == []
        assert letter["Message-ID"]
        assert letter["To"].addresses[0].domain.endswith("example.com")
    for path in papers:
        pages = pypdf.PdfReader(path).pages
        assert "Tidewell Bench" in "".join(page.extract_text() for page in pages)
    for path in visits:
        visit = vobject.readOne(path.read_text("utf-8")).vevent
        assert visit.dtstart.value < visit.dtend.value
