"""Messages that came in: kept whole, known again, forgotten when nobody needs them."""

from __future__ import annotations

import os
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.db import DataError, OperationalError, connection
from django.utils import timezone

from shopdesk.conversation import placing, post
from shopdesk.mail import arrivals
from shopdesk.mail.models import Arrival, Mailbox
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db

LETTER = (
    b"From: Ottoline Brask <Ottoline@Example.com>\r\nTo: hello@tidewell.example.com\r\n"
    b"Subject: The desk\r\nMessage-ID: <one@mail.example.com>\r\n\r\nMay the top be darker?\r\n"
)


def stored(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_a_message_is_kept_whole_and_has_a_row_and_a_nudge(
    settings: Any, nudged: list[str], db: None
) -> None:
    arrival = arrivals.take_in(LETTER)
    assert arrival is not None
    assert arrivals.raw_of(arrival) == LETTER
    assert (arrival.bytes, arrival.sha256) == (len(LETTER), sha256(LETTER).hexdigest())
    assert (arrival.message_id, arrival.subject) == ("<one@mail.example.com>", "The desk")
    assert (arrival.from_name, arrival.from_address) == ("Ottoline Brask", "ottoline@example.com")
    assert (arrival.excerpt, arrival.verdict, arrival.state) == ("May the top be darker?", "", "waiting")
    [path] = stored(settings.ARRIVALS)
    assert path.stat().st_mode & 0o777 == 0o600
    assert settings.ARRIVALS.stat().st_mode & 0o777 == 0o700


@pytest.mark.django_db(transaction=True)
def test_the_nudge_comes_after_the_commit(nudged: list[str]) -> None:
    arrivals.take_in(LETTER)
    assert nudged == [arrivals.TASK]


def test_the_same_message_is_not_taken_in_twice(settings: Any) -> None:
    box = Mailbox.objects.create(name="hello@mail.example.com/INBOX")
    first = arrivals.take_in(LETTER, mailbox=box, uidvalidity=1, uid=7)
    assert first is not None
    assert arrivals.take_in(LETTER, mailbox=box, uidvalidity=1, uid=7) is None
    assert arrivals.take_in(LETTER, mailbox=box, uidvalidity=2, uid=1) is None, "numbered anew"
    assert arrivals.take_in(b"X" + LETTER, mailbox=box, uidvalidity=1, uid=7) is None, "that number is taken"
    assert arrivals.take_in(LETTER + b"P.S.\r\n", mailbox=box, uidvalidity=1, uid=8) is not None
    assert len(stored(settings.ARRIVALS)) == Arrival.objects.count() == 2


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\0",
        b"no header at all",
        b"Subject: \0nul\0\r\nFrom: \0a\0 <a\0@example.com>\r\n\r\n\0words\0",
        b"Subject: \xed\xa0\x80 half a pair\r\nMessage-ID: <\xff\xfe@x>\r\n\r\n\xed\xa0\x80",
        b"Subject: " + b"x" * 100_000 + b"\r\n\r\n" + b"y" * 100_000,
        b"From: " + b"a" * 500 + b"@" + b"b" * 500 + b"\r\n\r\n.",
        b"Message-ID: <" + b"m" * 5000 + b"@x>\r\n\r\n.",
    ],
    ids=["nothing", "a nul", "no header", "nuls", "surrogates", "long subject", "long address", "long id"],
)
def test_whatever_the_bytes_are_the_database_takes_the_row(raw: bytes) -> None:
    arrival = arrivals.take_in(raw)
    assert arrival is not None
    fresh = Arrival.objects.get()
    assert arrivals.raw_of(fresh) == raw
    assert "\0" not in fresh.subject + fresh.excerpt + fresh.from_name + fresh.from_address + fresh.message_id
    assert arrivals.take_in(raw) is None


def test_a_row_that_fails_leaves_no_file(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_: Any) -> None:
        raise DataError("a row that the database does not take")

    monkeypatch.setattr(Arrival.objects, "create", broken)
    with pytest.raises(DataError):
        arrivals.take_in(LETTER)
    assert stored(settings.ARRIVALS) == []


@pytest.mark.django_db(transaction=True)
def test_a_commit_whose_answer_is_lost_keeps_the_file(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    commit = connection._commit  # type: ignore[attr-defined]  # the stubs leave it out

    def committed() -> None:
        commit()
        raise OperationalError("server closed the connection unexpectedly")

    with monkeypatch.context() as lost:
        lost.setattr(connection, "_commit", committed)
        with pytest.raises(OperationalError):
            arrivals.take_in(LETTER)
    assert arrivals.raw_of(Arrival.objects.get()) == LETTER
    assert post.place_all() == 1
    assert Arrival.objects.get().why == "Nobody whom you know has the address that it comes from."
    assert arrivals.take_in(LETTER) is None, "the mailbox hands it over once more"


def test_what_is_let_go_after_long_can_be_brought_back_for_three_months(settings: Any) -> None:
    arrival = arrivals.take_in(LETTER)
    assert arrival is not None
    now = timezone.now()
    long_ago = now - timedelta(days=95)
    Arrival.objects.update(verdict="tray", state="done", made_at=long_ago, done_at=long_ago)
    placing.let_go(arrival)
    assert arrivals.forget(now + timedelta(days=89)) == 0
    assert arrivals.raw_of(arrival) == LETTER
    assert arrivals.forget(now + timedelta(days=91)) == 1
    assert not Arrival.objects.exists()


def test_a_full_disk_leaves_no_row(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("shopdesk.base.files.put", full)
    with pytest.raises(OSError, match="No space"):
        arrivals.take_in(LETTER)
    assert not Arrival.objects.exists()


def test_what_nobody_has_to_read_is_forgotten_after_three_months(settings: Any) -> None:
    now = timezone.now()
    made: dict[tuple[str, int], Arrival] = {}
    for verdict in ("", *Arrival.Verdict.values):
        for days in (89, 91):
            one = arrivals.take_in(LETTER + f"{verdict} {days}\r\n".encode())
            assert one is not None
            state = Arrival.State.DONE if verdict else Arrival.State.WAITING
            Arrival.objects.filter(pk=one.pk).update(
                verdict=verdict, state=state, done_at=now - timedelta(days=days) if verdict else None
            )
            made[verdict, days] = one
    assert arrivals.forget(now) == 5
    left = {key for key, one in made.items() if Arrival.objects.filter(pk=one.pk).exists()}
    gone = {(verdict, 91) for verdict in ("automatic", "bounce", "ours", "twice", "dropped")}
    assert left == set(made) - gone
    assert {str(path.relative_to(settings.ARRIVALS)) for path in stored(settings.ARRIVALS)} == {
        made[key].path for key in left
    }
    assert arrivals.forget(now) == 0


def test_files_that_no_row_knows_go_after_a_day(settings: Any) -> None:
    arrivals.take_in(LETTER)
    [kept] = stored(settings.ARRIVALS)
    now = timezone.now()
    two_days_ago = (now - timedelta(days=2)).timestamp()
    left_over, being_written = kept.with_name("left-over.eml"), kept.with_name(".part-x")
    for path in (left_over, being_written):
        path.write_bytes(b"x")
    os.utime(kept, (two_days_ago, two_days_ago))
    os.utime(left_over, (two_days_ago, two_days_ago))
    assert arrivals.forget(now) == 1
    assert set(stored(settings.ARRIVALS)) == {kept, being_written}


def test_forgetting_is_once_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    runs: list[object] = []
    monkeypatch.setattr(arrivals, "forget", runs.append)
    arrivals.forget_now_and_then()
    arrivals.forget_now_and_then()
    assert len(runs) == 1
