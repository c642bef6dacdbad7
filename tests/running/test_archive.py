"""Backups: what is in one, when one is refused, and that a restore changes everything or nothing."""

from __future__ import annotations

import json
import threading
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from shopdesk.base import files as shop_files
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission
from shopdesk.mail.arrivals import raw_of
from shopdesk.mail.models import Arrival, Mailbox
from shopdesk.photos.models import Picture, Rendition
from shopdesk.running import archive, rows
from shopdesk.running.archive import CannotBackUp, Damaged, back_up, opened
from shopdesk.running.lock import InUse, alone
from shopdesk.running.restoring import CannotRestore, restore
from tests.conftest import MakePicture
from tests.running.filled import address_of_database, all_files, all_rows, fill

pytestmark = pytest.mark.django_db(transaction=True)
NOWHERE = print


@pytest.fixture
def shop_var(tmp_path: Path, settings: Any) -> Path:
    """A folder of the test's own, so that its lock and its key are in nobody's way."""
    settings.VAR = tmp_path / "var"
    settings.VAR.mkdir()
    (settings.VAR / "secret-key").write_text(settings.SECRET_KEY)
    return Path(settings.VAR)


@pytest.fixture
def filled(
    shop_var: Path, commission: Commission, as_owner: Who, picture_file: MakePicture, work: Callable[[], None]
) -> Commission:
    fill(commission, as_owner, picture_file, work)
    return commission


def everything() -> tuple[dict[str, list[tuple[Any, ...]]], dict[str, bytes]]:
    return all_rows(address_of_database()), all_files(
        settings.PICTURES, settings.DOCUMENTS, settings.ARRIVALS
    )


def rewritten(source: Path, target: Path, change: Callable[[dict[str, bytes], dict[str, Any]], None]) -> Path:
    """The backup with something changed in it, and every hash right again."""
    with zipfile.ZipFile(source) as whole:
        members = {name: whole.read(name) for name in whole.namelist()}
    content = json.loads(members.pop("manifest.json"))
    change(members, content)
    content["members"] = {
        name: {"sha256": sha256(data).hexdigest(), "bytes": len(data)} for name, data in members.items()
    }
    with zipfile.ZipFile(target, "w") as file:
        for name, data in members.items():
            file.writestr(name, data)
        text = json.dumps(content)
        file.writestr("manifest.json", text)
        file.comment = sha256(text.encode()).hexdigest().encode()
    return target


def test_a_backup_holds_every_row_and_every_file(filled: Commission, tmp_path: Path) -> None:
    made = back_up(tmp_path / "shop.backup")
    assert (tmp_path / "shop.backup").stat().st_mode & 0o777 == 0o600
    there, kept = everything()
    assert made.rows == {table: len(found) for table, found in there.items()}
    assert {name for name, found in there.items() if found} >= {
        *(
            "clients_client",
            "commissions_shot",
            "conversation_message_shots",
            "deposits_entry",
            "intake_draft",
        ),
        *(
            "mail_arrival",
            "mail_email",
            "mail_mailbox",
            "photos_rendition",
            "documents_document",
            "shop_user",
            "base_counter",
        ),
    }
    with zipfile.ZipFile(tmp_path / "shop.backup") as whole:
        assert {name: whole.read(name) for name in whole.namelist() if name in kept} == kept
        assert whole.read("secret-key").decode() == settings.SECRET_KEY
    assert len(kept) > 8
    assert {name.split("/")[0] for name in kept} == {"pictures", "documents", "arrivals"}
    assert sorted(made.files) == sorted(kept)


def test_moments_keep_their_microseconds(filled: Commission, tmp_path: Path) -> None:
    back_up(tmp_path / "shop.backup")
    with zipfile.ZipFile(tmp_path / "shop.backup") as whole:
        columns, message = map(json.loads, whole.read("rows/conversation_message.jsonl").splitlines())
    assert message[columns.index("at")] == "2026-02-03T04:05:06.789012+00:00"


def test_writers_neither_wait_for_a_backup_nor_show_in_it(commission: Commission) -> None:
    before = Client.objects.count()

    def write() -> None:
        Client.objects.create(name="Came meanwhile")
        connection.close()

    with rows.snapshot():
        assert Client.objects.count() == before
        writer = threading.Thread(target=write)
        writer.start()
        writer.join(10)
        assert not writer.is_alive()
        assert Client.objects.count() == before
    assert Client.objects.count() == before + 1


def test_a_missing_and_a_damaged_file_are_named(filled: Commission, tmp_path: Path) -> None:
    gone, other = Rendition.objects.order_by("pk")[:2]
    (settings.PICTURES / gone.path).unlink()
    (settings.PICTURES / other.path).write_bytes(b"something else")
    with pytest.raises(CannotBackUp) as no:
        back_up(tmp_path / "shop.backup")
    assert f"pictures/{gone.path}" in str(no.value)
    assert f"pictures/{other.path}" in str(no.value)
    assert [path for path in tmp_path.iterdir() if path.is_file()] == []
    made = back_up(tmp_path / "shop.backup", incomplete=True)
    assert made.absent == [f"pictures/{gone.path}", f"pictures/{other.path}"]
    with opened(tmp_path / "shop.backup") as (_, manifest):
        assert f"pictures/{gone.path}" not in manifest.files


def test_emails_that_came_in_come_back_byte_for_byte(filled: Commission, tmp_path: Path) -> None:
    [kept] = Arrival.objects.exclude(path="")
    back_up(tmp_path / "shop.backup")
    was = raw_of(kept)
    (settings.ARRIVALS / kept.path).unlink()
    restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    assert raw_of(kept) == was
    assert (settings.ARRIVALS / kept.path).stat().st_mode & 0o777 == 0o600
    assert rows.holds_data()


def test_a_mailbox_that_was_looked_into_is_no_data_yet(shop_var: Path, db: None) -> None:
    Mailbox.objects.create(name="hello@mail.example.com/INBOX")
    assert not rows.holds_data()
    Arrival.objects.create(bytes=0)
    assert rows.holds_data()


def test_a_picture_that_is_deleted_meanwhile_makes_it_start_over(
    filled: Commission, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    late = Picture.objects.get(original_name="late.jpg")
    copied = archive._add_file
    copies: list[str] = []

    def copy(whole: zipfile.ZipFile, manifest: archive.Manifest, kept: archive.Kept) -> None:
        if not copies:
            (settings.PICTURES / late.original_path).unlink()
            Picture.objects.filter(pk=late.pk).delete()
        copies.append(kept.name)
        copied(whole, manifest, kept)

    monkeypatch.setattr(archive, "_add_file", copy)
    made = back_up(tmp_path / "shop.backup")
    assert made.absent == []
    assert copies.count(made.files[0]) == 2
    assert f"pictures/{late.original_path}" not in made.files


def test_nothing_but_a_backup_is_written_over(filled: Commission, tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ottoline")
    with pytest.raises(CommandError, match="is something else than a backup"):
        call_command("backup", letter)
    assert letter.read_text() == "Dear Ottoline"
    back_up(tmp_path / "shop.backup")
    back_up(tmp_path / "shop.backup")
    with pytest.raises(CannotBackUp, match="could not be written: No such file"):
        back_up(tmp_path / "no such folder" / "shop.backup")


def test_any_byte_that_changed_is_noticed_or_does_not_matter(filled: Commission, tmp_path: Path) -> None:
    back_up(tmp_path / "shop.backup")
    whole = (tmp_path / "shop.backup").read_bytes()
    broken = tmp_path / "broken.backup"

    def content(path: Path) -> dict[str, bytes]:
        with opened(path) as (file, _):
            return {name: file.read(name) for name in file.namelist()}

    good = content(tmp_path / "shop.backup")
    noticed = 0
    places = range(0, len(whole), max(1, len(whole) // 200))
    for place in places:
        broken.write_bytes(whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :])
        try:
            left = content(broken)
        except Damaged:
            noticed += 1
        else:
            assert left == good  # it was a date in the zip's own headers, say
    assert noticed > len(places) * 0.8


@pytest.mark.parametrize("what", ["empty", "cut", "not a backup", "folder", "missing"])
def test_what_is_no_backup_is_refused_in_a_sentence(filled: Commission, tmp_path: Path, what: str) -> None:
    path = tmp_path / "shop.backup"
    if what == "folder":
        path.mkdir()
    elif what == "empty":
        path.write_bytes(b"")
    elif what == "cut":
        back_up(path)
        path.write_bytes(path.read_bytes()[:-300])
    elif what == "not a backup":
        with zipfile.ZipFile(path, "w") as other:
            other.writestr("letter.txt", "Dear Ottoline")
    before = everything()
    with pytest.raises(CommandError) as no:
        call_command("restore", path, replace=True)
    assert str(path) in str(no.value)
    assert everything() == before


def test_members_that_would_lie_elsewhere_are_refused(filled: Commission, tmp_path: Path) -> None:
    back_up(tmp_path / "shop.backup")
    for name in ("pictures/../../thief", "/etc/thief", "pictures/..\\thief", "elsewhere/thief"):

        def add(members: dict[str, bytes], _: dict[str, Any], name: str = name) -> None:
            members[name] = b"x"

        bad = rewritten(tmp_path / "shop.backup", tmp_path / "bad", add)
        with pytest.raises(Damaged, match="has no place in a shop"), opened(bad):
            pass


def test_it_makes_way_only_when_told(filled: Commission, tmp_path: Path) -> None:
    back_up(tmp_path / "shop.backup")
    before = everything()
    Client.objects.create(name="Somebody new")
    (settings.PICTURES / "originals" / "later.jpg").write_bytes(b"x")
    with pytest.raises(CannotRestore, match="--replace"):
        restore(tmp_path / "shop.backup", say=NOWHERE)
    assert Client.objects.filter(name="Somebody new").exists()
    restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    assert everything() == before


def test_a_row_that_points_nowhere_leaves_all_as_it_was(filled: Commission, tmp_path: Path) -> None:
    back_up(tmp_path / "shop.backup")

    def without_clients(members: dict[str, bytes], content: dict[str, Any]) -> None:
        members["rows/clients_client.jsonl"] = members["rows/clients_client.jsonl"].splitlines(True)[0]
        content["rows"]["clients_client"] = 0
        members["pictures/originals/zz/new.jpg"] = b"a new file"

    bad = rewritten(tmp_path / "shop.backup", tmp_path / "bad", without_clients)
    before = everything()
    with pytest.raises(CannotRestore, match="Nothing has changed"):
        restore(bad, replace=True, say=NOWHERE)
    assert everything() == before


@pytest.mark.parametrize("what", ["a row too few", "another column"])
def test_rows_that_do_not_fit_leave_all_as_it_was(filled: Commission, tmp_path: Path, what: str) -> None:
    back_up(tmp_path / "shop.backup")

    def spoil(members: dict[str, bytes], content: dict[str, Any]) -> None:
        if what == "a row too few":
            content["rows"]["intake_draft"] += 1
        else:
            members["rows/intake_draft.jsonl"] = members["rows/intake_draft.jsonl"].replace(
                b"touched_at", b"seen", 1
            )

    bad = rewritten(tmp_path / "shop.backup", tmp_path / "bad", spoil)
    before = everything()
    with pytest.raises(CannotRestore, match="intake_draft has"):
        restore(bad, replace=True, say=NOWHERE)
    assert everything() == before


def test_a_full_disk_half_way_takes_the_new_files_away(
    filled: Commission, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(tmp_path / "shop.backup")
    for name in all_files(settings.PICTURES):
        (tmp_path / name).unlink()
    before = everything()
    put, count = shop_files.put, iter(range(100))

    def until_full(path: Path, data: bytes) -> None:
        if next(count) == 3:
            raise OSError(28, "No space left on device")
        put(path, data)

    monkeypatch.setattr(shop_files, "put", until_full)
    with pytest.raises(CannotRestore, match=r"No space left on device\. Nothing has changed"):
        restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    assert next(count) == 4
    assert everything() == before


@pytest.mark.parametrize(
    ("change", "sentence"), [("+", "made by a newer Shopdesk"), ("-", "made by an older Shopdesk")]
)
def test_another_versions_backup_is_refused(
    filled: Commission, tmp_path: Path, change: str, sentence: str
) -> None:
    back_up(tmp_path / "shop.backup")

    def other(_: dict[str, bytes], content: dict[str, Any]) -> None:
        if change == "+":
            content["migrations"].append("shop.9999_something")
        else:
            content["migrations"].remove("shop.0001_initial")

    with pytest.raises(CannotRestore, match=sentence):
        restore(rewritten(tmp_path / "shop.backup", tmp_path / "other", other), replace=True, say=NOWHERE)


def test_a_shop_that_runs_is_left_alone(filled: Commission, tmp_path: Path, shop_var: Path) -> None:
    back_up(tmp_path / "shop.backup")
    with alone(shop_var), pytest.raises(InUse, match="is running already"):
        restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)


def test_the_key_comes_back_or_its_lack_is_said(filled: Commission, tmp_path: Path, settings: Any) -> None:
    back_up(tmp_path / "shop.backup")
    old, key_file = settings.SECRET_KEY, settings.VAR / "secret-key"
    key_file.write_text("k" * 86)
    settings.SECRET_KEY = "k" * 86
    said: list[str] = []
    restore(tmp_path / "shop.backup", replace=True, say=said.append)
    assert key_file.read_text() == old
    assert key_file.stat().st_mode & 0o777 == 0o600
    assert said == []
    settings.SECRET_KEY = "e" * 86  # from the environment: it is not in the file
    restore(tmp_path / "shop.backup", replace=True, say=said.append)
    assert key_file.read_text() == old
    assert len(said) == 1
    assert "links that were sent before do not open" in said[0]


def test_the_key_changes_with_the_rows_or_not_at_all(
    filled: Commission, tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(tmp_path / "shop.backup")
    old, key_file = settings.SECRET_KEY, settings.VAR / "secret-key"
    key_file.write_text("k" * 86)
    settings.SECRET_KEY = "k" * 86
    seen: list[str] = []

    def breaks() -> None:
        seen.append(key_file.read_text())
        raise rows.WrongRows("one points nowhere")

    with monkeypatch.context() as patched:
        patched.setattr(rows, "check", breaks)
        with pytest.raises(CannotRestore, match="Nothing has changed"):
            restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    assert seen == [old]
    assert key_file.read_text() == "k" * 86
    assert key_file.stat().st_mode & 0o777 == 0o600
    restore(tmp_path / "shop.backup", replace=True, say=NOWHERE)
    assert key_file.read_text() == old


def test_a_backup_can_be_checked_without_touching_anything(
    filled: Commission, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("backup", tmp_path / "shop.backup")
    before = everything()
    call_command("restore", tmp_path / "shop.backup", check=True)
    assert everything() == before
    printed = capsys.readouterr().out.splitlines()
    assert printed[0].startswith(f"{tmp_path / 'shop.backup'}: ")
    assert " is whole: " in printed[-1]
