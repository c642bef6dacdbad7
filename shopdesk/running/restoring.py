"""A backup becomes a shop again: all of it, or nothing has changed.

1. Check every hash, and that this Shopdesk has the same tables.
2. Refuse over a shop that runs, or that has data (unless told).
3. Put the files in their places, beside what is there; they are named by chance, so none is in another's way.
   The secret key takes the place of the one that is there.
4. In one transaction: the old rows go, the new ones come.
5. Remove the files that belonged to the old rows.

A failure up to 4 takes the new files away again and brings the old key back. A process that is killed leaves
at worst files that no row knows; restoring once more makes it whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, transaction

from shopdesk.base import files
from shopdesk.running import rows
from shopdesk.running.archive import KEY, Manifest, mark_of, opened, place_of, roots
from shopdesk.running.lock import alone


class CannotRestore(Exception):
    """Nothing has changed. The text is for the person at the terminal."""


def restore(source: Path, *, replace: bool = False, say: Callable[[str], None]) -> Manifest:
    """Make this shop what it was when `source` was written. `replace` allows it over a shop that has data.

    Raises `CannotRestore`, `archive.Damaged` or `lock.InUse`, each with a sentence; nothing has changed then.
    """
    with opened(source) as (archive, manifest), alone(settings.VAR):
        _same_tables(manifest)
        try:
            if rows.holds_data() and not replace:
                raise CannotRestore(
                    "There is a shop with data here already. With --replace it makes way; back it up first."
                )
            call_command("migrate", interactive=False, verbosity=0)
            places = dict(_places(manifest))
            with _put_in_place(archive, manifest, places):
                _bring_rows(archive, manifest)
        except DatabaseError as error:
            raise CannotRestore(
                f"The rows cannot be written: {str(error).strip()}. Nothing has changed."
            ) from error
        except rows.WrongRows as error:
            raise CannotRestore(f"The rows do not fit: {error}. Nothing has changed.") from error
        except OSError as error:
            raise CannotRestore(
                f"A file could not be written: {error.strerror or error}. Nothing has changed."
            ) from error
        key = archive.read(KEY).decode().strip() if KEY in places else settings.SECRET_KEY
        if mark_of(key) != manifest.key_mark:
            say(
                "The secret key here is another than the backup's, so links that were sent before do not "
                "open. Set SECRET_KEY to what it was to make them open again."
            )
        _remove_others({place_of(name) for name in manifest.files})
        for name in manifest.absent:
            say(f"Missing or damaged already when the backup was made: {name}")
        return manifest


def _same_tables(manifest: Manifest) -> None:
    ours = set(rows.our_migrations())
    theirs = set(manifest.migrations)
    if theirs - ours:
        raise CannotRestore(
            f"The backup was made by a newer Shopdesk ({manifest.version}). "
            "Bring this one up to date, then restore."
        )
    if ours - theirs:
        raise CannotRestore(
            f"The backup was made by an older Shopdesk ({manifest.version}). Restore it with that one; when "
            "this one is then started on the same folder, it brings the data up to date."
        )


@contextlib.contextmanager
def _put_in_place(archive: zipfile.ZipFile, manifest: Manifest, places: dict[str, Path]) -> Iterator[None]:
    """The backup's files lie among the shop's while the block runs, and stay if it ends well."""
    with contextlib.ExitStack() as undo:
        for name, path in places.items():
            data = archive.read(name)
            if path.exists():
                before = path.read_bytes()
                if hashlib.sha256(before).hexdigest() == manifest.members[name]["sha256"]:
                    continue
                undo.callback(files.put, path, before)
            else:
                undo.callback(_take_away, path)
            files.put(path, data)
        yield
        undo.pop_all()


def _places(manifest: Manifest) -> Iterator[tuple[str, Path]]:
    """Which member goes where. The key, under which links that went out are sealed, only where this shop's
    comes from its file and not from its environment."""
    for name in manifest.files:
        path = place_of(name)
        assert path is not None
        yield name, path
    if KEY in manifest.members and _key_is_in_the_file():
        yield KEY, settings.VAR / KEY


def _key_is_in_the_file() -> bool:
    path = settings.VAR / KEY
    return path.exists() and path.read_text().strip() == settings.SECRET_KEY


def _take_away(path: Path) -> None:
    path.unlink(missing_ok=True)
    with contextlib.suppress(OSError):  # others' files are in it
        path.parent.rmdir()


def _bring_rows(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    with transaction.atomic():
        rows.clear()
        for model in rows.tables():
            table = model._meta.db_table
            with archive.open(f"rows/{table}.jsonl") as written:
                count = rows.load(model, written)
            if count != manifest.rows[table]:
                raise rows.WrongRows(f"{table} has {count} rows instead of {manifest.rows[table]}")
        rows.check()
        rows.raise_sequences(manifest.sequences)


def _remove_others(ours: set[Path | None]) -> None:
    """The files that belonged to the rows that went."""
    for root in roots().values():
        for path in sorted(root.rglob("*"), reverse=True) if root.is_dir() else ():
            if path.is_dir():
                with contextlib.suppress(OSError):
                    path.rmdir()
            elif path not in ours:
                with contextlib.suppress(OSError):  # no row knows it: it is in nobody's way
                    path.unlink()
