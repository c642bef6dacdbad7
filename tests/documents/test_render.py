"""Documents: the same content makes the same bytes, pictures are waited for, and nothing is fetched from
anywhere."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.db import transaction
from django.http import Http404
from django.utils import timezone
from PIL import ImageFile
from pypdf import PdfReader

from shopdesk.base import blobs
from shopdesk.base import work as work_rows
from shopdesk.base.models import Work
from shopdesk.documents import actions, render, serve
from shopdesk.documents.models import Document
from shopdesk.photos.actions import prepare_all, take_in
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db

DAY = date(2026, 3, 14)


def ordered(template: str = "plain", **content: Any) -> Document:
    with transaction.atomic():
        return actions.order(
            template,
            title="Quote 26-001",
            filename="quote-26-001.pdf",
            content={"words": "A desk — 343,70 €", **content},
            dated_on=DAY,
        )


def rendered(document: Document) -> Document:
    actions.render_all()
    document.refresh_from_db()
    return document


def pdf_of(document: Document, settings: Any) -> bytes:
    return (Path(settings.DOCUMENTS) / document.path).read_bytes()


def images_in(pdf: bytes) -> int:
    return sum(len(page.images) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_renders_what_was_ordered(
    settings: Any, nudged: list[str], django_capture_on_commit_callbacks: Any
) -> None:
    heard: list[str] = []

    def hear(ref: str, **kwargs: Any) -> None:
        heard.append(ref)

    blobs.ready.connect(hear)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            document = ordered()
        assert nudged == ["shopdesk.documents.render"]
        with pytest.raises(blobs.NotYet):
            blobs.fetch(document.ref)
        assert serve.document_response(document) is None
        with django_capture_on_commit_callbacks(execute=True):
            rendered(document)
    finally:
        blobs.ready.disconnect(hear)
    assert heard == [document.ref]
    data = pdf_of(document, settings)
    assert document.state == Document.State.DONE
    assert document.sha256 == hashlib.sha256(data).hexdigest()
    assert (document.bytes, document.pages) == (len(data), 1)
    assert "A desk — 343,70 €" in PdfReader(io.BytesIO(data)).pages[0].extract_text()
    assert blobs.fetch(document.ref) == blobs.Blob(data, "application/pdf")
    answer = serve.document_response(document)
    assert answer is not None
    assert b"".join(answer.streaming_content) == data  # type: ignore[arg-type]
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="quote-26-001.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    "content", [{"price": Decimal("1.10")}, {"on": [{"day": DAY}]}, {"x": 1.5}, {"y": {1: "a"}}]
)
def test_is_made_of_plain_values_only(content: dict[str, Any]) -> None:
    with pytest.raises(actions.NotPlain):
        ordered(**content)
    assert not Document.objects.exists()


ONE_PDF = """
import hashlib, sys, django
django.setup()
from datetime import date
from django.conf import settings
from shopdesk.base.blobs import Blob
from shopdesk.documents import render
from shopdesk.documents.models import Document
document = Document(template="quote", title="Quote", dated_on=date(2026, 3, 14), content={
    "number": "26-001", "revision": 1, "title": "A writing desk", "currency_code": "USD",
    "shop": {"name": "Tidewell Bench"}, "client": {"name": "Ottoline"},
    "pieces": [{"name": "Desk", "words": ["Oiled."], "price": "$320.00", "picture_ref": "pictures:1:medium"}],
    "sums": [{"kind": "sum", "label": "Total", "amount": "$340.00"}]})
html = render.html_of(document)
with open(sys.argv[1], "rb") as file:
    pictures = {"pictures:1:medium": Blob(file.read(), "image/webp")}
identifier = render.identifier_of(document)
pdf = render.pdf_bytes(html, identifier=identifier, dated_on=document.dated_on, pictures=pictures)
print(hashlib.sha256(pdf.data).hexdigest(), len(pdf.data))
"""


def test_the_same_bytes_in_another_process_at_another_time(
    picture_file: MakePicture, settings: Any, tmp_path: Path
) -> None:
    take_in(picture_file("desk.jpg", (1600, 1200)), "desk.jpg")
    prepare_all()
    rendition = Picture.objects.get().renditions.get(size="medium")
    said = []
    for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo")):
        environment = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "TZ": zone,
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
            "SHOPDESK_VAR": str(settings.VAR),
            "TMPDIR": str(tmp_path),
        }
        ran = subprocess.run(
            [sys.executable, "-c", ONE_PDF, str(Path(settings.PICTURES) / rendition.path)],
            env=environment, capture_output=True, text=True, cwd=settings.BASE_DIR, check=True,
        )  # fmt: skip
        said.append(ran.stdout.strip())
    assert said[0] == said[1]
    assert len(said[0].split()[0]) == 64


def test_another_content_has_another_identity() -> None:
    one, two = ordered(), ordered(words="Another")
    assert render.identifier_of(one) != render.identifier_of(two)
    assert render.identifier_of(one) == render.identifier_of(Document.objects.get(pk=one.pk))
    assert len(render.identifier_of(one)) == 16


def test_the_same_again_after_a_kill_between_file_and_row(settings: Any, monkeypatch: Any) -> None:
    document = ordered()

    def killed(*args: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(actions, "_finish", killed)
        with pytest.raises(KeyboardInterrupt):
            actions.render_all()
    (left,) = Path(settings.DOCUMENTS).rglob("*.pdf")
    before = left.read_bytes()
    Document.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    rendered(document)
    assert document.state == Document.State.DONE
    assert Path(settings.DOCUMENTS) / document.path == left
    assert left.read_bytes() == before


def test_waits_for_a_picture(
    picture_file: MakePicture, settings: Any, django_capture_on_commit_callbacks: Any, nudged: list[str]
) -> None:
    picture = take_in(picture_file("desk.jpg", (1600, 1200)), "desk.jpg")
    document = rendered(ordered(picture=f"pictures:{picture.pk}:medium"))
    assert (document.state, document.tries) == (Document.State.WAITING, 0)
    assert timezone.now() < document.due_at <= timezone.now() + timedelta(seconds=3)
    with django_capture_on_commit_callbacks(execute=True):
        prepare_all()
    assert "shopdesk.documents.render" in nudged
    rendered(document)
    assert document.state == Document.State.DONE
    assert document.trouble == ""
    assert images_in(pdf_of(document, settings)) == 1


def test_a_picture_that_comes_in_between_is_not_missed(picture_file: MakePicture, monkeypatch: Any) -> None:
    picture = take_in(picture_file(), "desk.jpg")
    document = ordered(picture=f"pictures:{picture.pk}:medium")
    put_off = work_rows.put_off

    def meanwhile(row: Work, after: timedelta, trouble: str = "", *, counts: bool = True) -> bool:
        monkeypatch.setattr(work_rows, "put_off", put_off)
        prepare_all()
        return put_off(row, after, trouble, counts=counts)

    monkeypatch.setattr(work_rows, "put_off", meanwhile)
    assert rendered(document).state == Document.State.DONE


def test_goes_without_a_picture_after_ten_minutes(picture_file: MakePicture, settings: Any) -> None:
    picture = take_in(picture_file(), "desk.jpg")
    document = ordered(picture=f"pictures:{picture.pk}:medium")
    Document.objects.update(made_at=timezone.now() - timedelta(minutes=11))
    rendered(document)
    assert document.state == Document.State.DONE
    data = pdf_of(document, settings)
    assert images_in(data) == 0
    assert "The desk" not in PdfReader(io.BytesIO(data)).pages[0].extract_text()


def test_goes_without_a_picture_that_is_gone(settings: Any) -> None:
    document = rendered(ordered(picture="pictures:12345:medium"))
    assert document.state == Document.State.DONE
    assert images_in(pdf_of(document, settings)) == 0


def test_two_photographs_stay_under_half_a_megabyte(picture_file: MakePicture, settings: Any) -> None:
    take_in(picture_file("desk.jpg", (3000, 2000)), "desk.jpg")
    prepare_all()
    document = rendered(ordered(picture=f"pictures:{Picture.objects.get().pk}:large"))
    with pikepdf.open(io.BytesIO(pdf_of(document, settings))) as pdf:
        (image,) = pdf.pages[0].get_images().values()
        assert image.Filter == "/DCTDecode"
        assert int(image.Width) == pytest.approx(60 / 25.4 * render.DPI, abs=2)  # 60 mm, as its style says
    assert document.bytes < 250_000


class _Secret(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.server.asked.append(self.path)  # type: ignore[attr-defined]
        self.send_response(200)
        self.end_headers()

    def log_message(self, *args: Any) -> None:
        pass


def test_fetches_nothing_from_anywhere(settings: Any, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("the secret key")
    server = HTTPServer(("127.0.0.1", 0), _Secret)
    server.asked = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        at = f"http://127.0.0.1:{server.server_port}"
        content = {"address": f"{at}/a.png", "sheet": f"{at}/b.css", "file": secret.as_uri()}
        document = rendered(ordered("thief", **content))
    finally:
        server.shutdown()
        server.server_close()
    assert document.state == Document.State.DONE
    assert server.asked == []  # type: ignore[attr-defined]
    with pikepdf.open(io.BytesIO(pdf_of(document, settings))) as pdf:
        assert len(pdf.attachments) == 0
    fetcher = render.OnlyOurs({})
    font = Path(settings.FONTS) / "source-sans-400.woff2"
    render._font_faces()
    assert fetcher.fetch(font.as_uri()).read() == font.read_bytes()
    for address in (
        secret.as_uri(),
        (Path(settings.FONTS) / ".." / "secret-key").as_uri(),
        f"{Path(settings.FONTS).as_uri()}/%2e%2e/secret-key",
        "file:///etc/passwd",
        "data:text/plain,hello",
        "ftp://127.0.0.1/x",
        "picture:pictures:1:large",
    ):
        with pytest.raises(ValueError, match="nothing from anywhere else"):
            fetcher.fetch(address)


def test_does_not_loosen_how_pictures_are_read() -> None:
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False


def test_escapes_what_people_typed(settings: Any) -> None:
    document = rendered(ordered(words='<img src="file:///etc/passwd"><script>x</script> & more'))
    text = PdfReader(io.BytesIO(pdf_of(document, settings))).pages[0].extract_text()
    assert "<script>x</script> & more" in " ".join(text.split())


def test_a_full_disk_is_waited_for(settings: Any, monkeypatch: Any) -> None:
    document = ordered()

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("shopdesk.base.files.os.fsync", full)
        rendered(document)
    assert document.state == Document.State.WAITING
    assert document.trouble == "There is no room left on the disk."
    assert [path for path in Path(settings.DOCUMENTS).rglob("*") if path.is_file()] == []
    Document.objects.update(due_at=timezone.now())
    assert rendered(document).state == Document.State.DONE


@pytest.mark.parametrize("template", ["broken", "there-is-none"])
def test_gives_up_on_a_template_that_fails(template: str) -> None:
    document = ordered(template)
    for tries in range(1, actions.MOST_FAILURES + 1):
        assert document.state == Document.State.WAITING
        Document.objects.update(due_at=timezone.now())
        rendered(document)
        assert document.tries == tries
    assert document.state == Document.State.FAILED
    assert document.trouble.startswith("It could not be set: Template")
    with pytest.raises(blobs.Gone, match="could not be rendered"):
        blobs.fetch(document.ref)
    assert serve.document_response(document) is None


def test_gives_up_on_one_that_kills_its_worker() -> None:
    document = ordered()
    Document.objects.update(tries=actions.MOST_TRIES)
    assert rendered(document).state == Document.State.FAILED


def test_notices_a_file_that_was_touched(settings: Any) -> None:
    document = rendered(ordered())
    file = Path(settings.DOCUMENTS) / document.path
    file.write_bytes(file.read_bytes() + b" ")
    with pytest.raises(blobs.Gone, match="damaged"):
        blobs.fetch(document.ref)
    file.unlink()
    with pytest.raises(blobs.Gone, match="gone"):
        blobs.fetch(document.ref)
    with pytest.raises(Http404):
        serve.document_response(document)
    for ref in ("documents:0", "documents:", "documents:x", "documents:²"):
        with pytest.raises(blobs.Gone):
            blobs.fetch(ref)


def test_an_order_that_is_rolled_back_leaves_nothing(nudged: list[str], work: Callable[[], None]) -> None:
    with transaction.atomic():
        actions.order("plain", title="T", filename="t.pdf", content={}, dated_on=DAY)
        transaction.set_rollback(True)
    work()
    assert not Document.objects.exists()
    assert nudged == []


def test_words_that_look_like_a_picture_are_words(settings: Any) -> None:
    words = "picture:pictures:1:large src=\"picture:pictures:2:medium\" src='picture:documents:3'"
    document = rendered(ordered(words=words))
    assert document.state == Document.State.DONE
    assert (
        "picture:pictures:1:large"
        in PdfReader(io.BytesIO(pdf_of(document, settings))).pages[0].extract_text()
    )
    page = (
        '<img src="picture:pictures:5:medium"><img src="picture:code:QlND-_"><img src="picture:documents:7">'
    )
    assert render.pictures_in(page + render.html_of(document)) == ["pictures:5:medium", "code:QlND-_"]
