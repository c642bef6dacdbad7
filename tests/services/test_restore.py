"""A shop moves: backed up here, restored into an empty folder by a process of its own, on the same database
and on the other."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings
from django.db import connection

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.intake.models import Draft
from shopdesk.running.archive import back_up
from tests.conftest import MakePicture
from tests.running.filled import address_of_database, all_files, all_rows, fill
from tests.services.serving import manage

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def backup(
    commission: Commission, as_owner: Who, picture_file: MakePicture, work: Callable[[], None], tmp_path: Path
) -> Path:
    fill(commission, as_owner, picture_file, work)
    back_up(tmp_path / "shop.backup")
    return tmp_path / "shop.backup"


def restored(var: Path, backup: Path, database: str) -> str:
    """Restore into the empty folder and say where the database is now."""
    done = manage(var, "restore", str(backup), DATABASE_URL=database)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Restored ")
    return database or str(var / "shop.sqlite3")


def same_kind(request: pytest.FixtureRequest) -> str:
    return "" if connection.vendor == "sqlite" else str(request.getfixturevalue("postgres_database"))


def other_kind(request: pytest.FixtureRequest) -> str:
    return str(request.getfixturevalue("postgres_database")) if connection.vendor == "sqlite" else ""


def test_into_an_empty_folder_every_row_and_every_file(
    backup: Path, var: Path, request: pytest.FixtureRequest
) -> None:
    there = all_rows(address_of_database())
    came = all_rows(restored(var, backup, same_kind(request)))
    assert came.keys() == there.keys()
    for table, found in there.items():
        assert came[table] == found, table
    assert sum(map(len, came.values())) > 60
    files = all_files(var / "pictures", var / "documents", var / "arrivals")
    assert files == all_files(settings.PICTURES, settings.DOCUMENTS, settings.ARRIVALS)
    assert len(files) > 8
    assert (var / "secret-key").read_text().strip() == settings.SECRET_KEY


def test_onto_the_other_database_and_into_a_backup_again(
    backup: Path, var: Path, request: pytest.FixtureRequest
) -> None:
    database = other_kind(request)
    restored(var, backup, database)
    done = manage(var, "backup", str(var / "again.backup"), DATABASE_URL=database)
    assert done.returncode == 0, done.stderr
    first, again = content_of(backup), content_of(var / "again.backup")
    assert again.keys() == first.keys()
    for name in first.keys() - {"manifest.json"}:
        if name.startswith("rows/"):  # PostgreSQL keeps the names inside a JSON value in an order of its own
            came, went = (list(map(json.loads, one[name].splitlines())) for one in (again, first))
            assert came == went, name
        else:
            assert again[name] == first[name], name
    numbered, numbered_again = (json.loads(one["manifest.json"])["sequences"] for one in (first, again))
    assert numbered_again["intake_draft"] == numbered["intake_draft"] == last_draft()
    assert all(numbered_again[table] >= number for table, number in numbered.items())


def last_draft() -> int:
    """The number of the draft that `fill` made and deleted again."""
    return Draft.objects.get().pk + 1


def content_of(backup: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(backup) as whole:
        return {name: whole.read(name) for name in whole.namelist()}


def test_what_was_written_once_stays_so_and_numbers_go_on(
    backup: Path, var: Path, request: pytest.FixtureRequest
) -> None:
    last = last_draft()
    came = restored(var, backup, same_kind(request))
    new = (
        "INSERT INTO intake_draft (key, typed, started_at, touched_at) "
        "VALUES ('{}', '{{}}', '2026-01-01 00:00Z', '2026-01-01 00:00Z') RETURNING id"
    )
    if connection.vendor == "sqlite":
        plain = sqlite3.connect(came)
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            plain.execute("UPDATE deposits_entry SET amount = 1")
        assert plain.execute(new.format("0" * 32)).fetchone()[0] == last + 1
        plain.close()
    else:
        with psycopg.connect(came, autocommit=True) as server:
            with pytest.raises(psycopg.errors.IntegrityError, match="append-only"):
                server.execute("UPDATE deposits_entry SET amount = 1")
            row: Any = server.execute(new.format("0" * 32).encode()).fetchone()
            assert row[0] == last + 1


def test_over_a_shop_with_data_only_when_told(
    backup: Path, var: Path, request: pytest.FixtureRequest
) -> None:
    database = same_kind(request)
    came = restored(var, backup, database)
    before = all_rows(came)
    no = manage(var, "restore", str(backup), DATABASE_URL=database)
    assert no.returncode == 1
    assert no.stderr.startswith("CommandError: There is a shop with data here already.")
    yes = manage(var, "restore", str(backup), "--replace", DATABASE_URL=database)
    assert yes.returncode == 0, yes.stderr
    assert all_rows(came) == before


def test_a_changed_byte_is_refused_before_anything_is_touched(backup: Path, var: Path) -> None:
    whole = bytearray(backup.read_bytes())
    place = whole.index(b"RIFF") + 60  # inside a rendition
    whole[place] ^= 1
    backup.write_bytes(whole)
    no = manage(var, "restore", str(backup))
    assert no.returncode == 1
    assert no.stderr.startswith(f"CommandError: {backup} is damaged, or not a backup of Shopdesk (")
    assert len(no.stderr.splitlines()) == 1
    assert not (var / "shop.sqlite3").exists()
    assert not (var / "pictures").exists()
