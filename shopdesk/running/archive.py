"""A whole shop in one file: every row, every picture, document and email that a row points to, and the secret
key.

It is a zip that any machine opens: `rows/<table>.jsonl` (see `rows.py`), `pictures/…`, `documents/…`,
`arrivals/…`, `secret-key`, and `manifest.json` with the SHA-256 of each of them, whose own stands in the
zip's comment. Who has it has the shop: the key that clients' links are sealed with is in it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import struct
import tempfile
import tomllib
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO, Any

from django.conf import settings
from django.db import DatabaseError
from django.utils import timezone

from shopdesk.base import files
from shopdesk.documents.models import Document
from shopdesk.mail.models import Arrival
from shopdesk.photos.models import Picture, Rendition
from shopdesk.running import rows
from shopdesk.shop.models import Shop

FORMAT = 1
MANIFEST = "manifest.json"
KEY = "secret-key"
TRIES = 3
PIECE = 1 << 20
UNREADABLE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    ValueError,
    KeyError,
    TypeError,
    RuntimeError,
)
"""What reading a damaged zip, or a list of contents that is none, can raise."""


class CannotBackUp(Exception):
    """No backup was made, or none that is whole. The text is for the person at the terminal."""


class Damaged(Exception):
    """A file that is not a backup, or not whole any more. The text is a sentence."""


@dataclass
class Manifest:
    """What is in a backup."""

    made_at: str
    version: str
    shop: str
    migrations: list[str]
    format: int = FORMAT
    rows: dict[str, int] = field(default_factory=dict)
    """Table → how many."""
    sequences: dict[str, int] = field(default_factory=dict)
    members: dict[str, dict[str, Any]] = field(default_factory=dict)
    """Name → `sha256` and `bytes`."""
    absent: list[str] = field(default_factory=list)
    """Files that rows point to and that were not there, or not as the rows say."""
    key_mark: str = ""
    """By which a key is known again that is kept elsewhere."""

    @property
    def files(self) -> list[str]:
        return [name for name in self.members if place_of(name) is not None]

    def __str__(self) -> str:
        return f"{sum(self.rows.values())} rows in {len(self.rows)} tables and {len(self.files)} files"


@dataclass(frozen=True)
class Kept:
    """A file that a row points to."""

    name: str
    sha256: str


def roots() -> dict[str, Path]:
    return {"pictures": settings.PICTURES, "documents": settings.DOCUMENTS, "arrivals": settings.ARRIVALS}


def place_of(name: str) -> Path | None:
    """Where the member of that name lies in a shop; `None` for one that is not such a file, or would lie
    elsewhere."""
    parts = PurePosixPath(name).parts
    if len(parts) < 2 or parts[0] not in roots() or ".." in parts or "\\" in name:
        return None
    return roots()[parts[0]].joinpath(*parts[1:])


def files_in_use() -> Iterator[Kept]:
    """Every file that a row points to, with the hash that the row has of it."""
    for path, sha256 in (
        Picture.objects.order_by("pk").values_list("original_path", "original_sha256").iterator()
    ):
        yield Kept(f"pictures/{path}", sha256)
    for path, sha256 in Rendition.objects.order_by("pk").values_list("path", "sha256").iterator():
        yield Kept(f"pictures/{path}", sha256)
    for path, sha256 in (
        Document.objects.exclude(path="").order_by("pk").values_list("path", "sha256").iterator()
    ):
        yield Kept(f"documents/{path}", sha256)
    for path, sha256 in (
        Arrival.objects.exclude(path="").order_by("pk").values_list("path", "sha256").iterator()
    ):
        yield Kept(f"arrivals/{path}", sha256)


def mark_of(key: str) -> str:
    return hashlib.sha256(b"shopdesk backup " + key.encode()).hexdigest()[:16]


# -- writing -------------------------------------------------------------------------------------------------


def back_up(target: Path, *, incomplete: bool = False) -> Manifest:
    """Write the shop as it is at one moment to `target`, whole or not at all, readable by its owner alone.
    The shop may run.

    Raises `CannotBackUp`: where the file cannot be written, and where a row points to a file that is missing
    or damaged, unless `incomplete` is said.
    """
    if target.exists() and not is_one(target):
        raise CannotBackUp(f"{target} is something else than a backup, so it stays. Choose another name.")
    try:
        if rows.applied_migrations() != rows.our_migrations():
            raise CannotBackUp(
                "The database is not of this version of Shopdesk. Starting the shop brings it up to date."
            )
        for _ in range(TRIES):
            made = _written_beside(target, incomplete)
            if made is not None:
                return made
    except DatabaseError as error:
        raise CannotBackUp(f"The database cannot be read: {str(error).strip()}") from error
    except OSError as error:
        raise CannotBackUp(f"{target} could not be written: {error.strerror or error}.") from error
    raise CannotBackUp("Files were deleted each time while they were being copied. Try again in a moment.")


def is_one(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            return MANIFEST in archive.namelist()
    except (zipfile.BadZipFile, OSError):
        return False


def _written_beside(target: Path, incomplete: bool) -> Manifest | None:
    """`None` if a file went together with its row while we were at it: then what we have is no one
    moment's."""
    handle, part = tempfile.mkstemp(prefix=files.PART, dir=target.parent)  # mode 600
    try:
        with os.fdopen(handle, "w+b") as file:
            with zipfile.ZipFile(file, "w", allowZip64=True) as archive:
                manifest = _write(archive)
            if manifest.absent:
                in_use = {kept.name for kept in files_in_use()}
                if not in_use.issuperset(manifest.absent):
                    return None
                if not incomplete:
                    raise CannotBackUp(
                        "Rows point to these files, which are missing or damaged:\n"
                        + "\n".join(f"  {name}" for name in manifest.absent)
                        + "\nNothing was written. With --incomplete the rest is."
                    )
            file.flush()
            os.fsync(file.fileno())
        Path(part).replace(target)
        return manifest
    finally:
        with contextlib.suppress(FileNotFoundError):
            Path(part).unlink()


def _write(archive: zipfile.ZipFile) -> Manifest:
    with rows.snapshot():
        manifest = Manifest(
            made_at=timezone.now().isoformat(),
            version=version(),
            shop=Shop.objects.values_list("name", flat=True).first() or "",
            migrations=rows.applied_migrations(),
            sequences=rows.sequences(),
            key_mark=mark_of(settings.SECRET_KEY),
        )
        for model in rows.tables():
            table = model._meta.db_table
            count = _add(archive, manifest, f"rows/{table}.jsonl", rows.lines(model), zipfile.ZIP_DEFLATED)
            manifest.rows[table] = count - 1  # the first line names the columns
        wanted = list(files_in_use())
    if (path := settings.VAR / KEY).exists() and path.read_text().strip() == settings.SECRET_KEY:
        _add(archive, manifest, KEY, [path.read_bytes()])
    for kept in wanted:
        _add_file(archive, manifest, kept)
    last = json.dumps(asdict(manifest), indent=1).encode()
    with archive.open(_entry(MANIFEST, zipfile.ZIP_DEFLATED), "w") as member:
        member.write(last)
    archive.comment = hashlib.sha256(last).hexdigest().encode()
    return manifest


def _add_file(archive: zipfile.ZipFile, manifest: Manifest, kept: Kept) -> None:
    path = place_of(kept.name)
    try:
        if path is None:
            raise FileNotFoundError(kept.name)
        with path.open("rb") as file:
            packed = zipfile.ZIP_DEFLATED if kept.name.startswith("arrivals/") else zipfile.ZIP_STORED
            _add(archive, manifest, kept.name, iter(lambda: file.read(PIECE), b""), packed)
    except FileNotFoundError:
        manifest.absent.append(kept.name)
    else:
        if manifest.members[kept.name]["sha256"] != kept.sha256:
            manifest.absent.append(kept.name)


def _add(
    archive: zipfile.ZipFile,
    manifest: Manifest,
    name: str,
    pieces: Iterable[bytes],
    method: int = zipfile.ZIP_STORED,  # pictures and PDFs are packed already
) -> int:
    """Add a member, note its hash, and return of how many pieces it is."""
    digest, size, count = hashlib.sha256(), 0, 0
    with archive.open(_entry(name, method), "w", force_zip64=True) as member:
        for piece in pieces:
            member.write(piece)
            digest.update(piece)
            size, count = size + len(piece), count + 1
    manifest.members[name] = {"sha256": digest.hexdigest(), "bytes": size}
    return count


def _entry(name: str, method: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, timezone.now().timetuple()[:6])
    entry.compress_type = method
    entry.external_attr = 0o600 << 16
    return entry


def version() -> str:
    project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text("utf-8"))
    return str(project["project"]["version"])


# -- reading -------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def opened(source: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """A backup whose every member has been read and found to be as it was written. Raises `Damaged` with a
    sentence."""
    with contextlib.ExitStack() as stack:
        try:
            file: IO[bytes] = stack.enter_context(source.open("rb"))
            archive = stack.enter_context(zipfile.ZipFile(file))
            manifest = _verified(archive)
        except FileNotFoundError as error:
            raise Damaged(f"There is no file {source}.") from error
        except OSError as error:
            raise Damaged(f"{source} cannot be read: {error.strerror or error}.") from error
        except UNREADABLE as error:
            raise Damaged(f"{source} is damaged, or not a backup of Shopdesk ({error}).") from error
        yield archive, manifest


def _verified(archive: zipfile.ZipFile) -> Manifest:
    text = archive.read(MANIFEST)
    if hashlib.sha256(text).hexdigest().encode() != archive.comment:
        raise ValueError("its list of contents is not as it was written")
    content = json.loads(text)
    if content["format"] != FORMAT:
        raise ValueError(f"its format is {content['format']}, and this Shopdesk reads {FORMAT}")
    manifest = Manifest(**content)
    if sorted(archive.namelist()) != sorted([*manifest.members, MANIFEST]):
        raise ValueError("something is missing from it, or was put in")
    for name, noted in manifest.members.items():
        if not (name == KEY or name.startswith("rows/") or place_of(name)):
            raise ValueError(f"{name} has no place in a shop")
        digest = hashlib.sha256()
        with archive.open(name) as member:
            while piece := member.read(PIECE):
                digest.update(piece)
        if digest.hexdigest() != noted["sha256"]:
            raise ValueError(f"{name} is not as it was written")
    return manifest
