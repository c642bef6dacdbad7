"""A body that is too large is refused before it is read, and one file that is too large before it is kept."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser

from shopdesk.base import bodies
from shopdesk.commissions.models import Commission
from shopdesk.photos import actions, look, uploads
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db


class Unread(io.BytesIO):
    def read(self, *args: Any) -> bytes:
        raise AssertionError("It was read.")


def says(browser: Browser, path: str, length: object, **extra: Any) -> Any:
    """A form that only says how long it is."""
    kind = "multipart/form-data; boundary=x"
    meta = {"CONTENT_LENGTH": str(length), "CONTENT_TYPE": kind, "wsgi.input": Unread(), **extra}
    return browser.generic("POST", path, b"", content_type=kind, **meta)


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/request/", bodies.PICTURES),
        ("/request/photos/", bodies.ONE_PICTURE),
        ("/request/draft/", bodies.MB),
        ("/desk/sign-in/", 64 * bodies.KB),
        ("/desk/set-up/", 256 * bodies.KB),
        ("/fresh-link/", 64 * bodies.KB),
        ("/no-such-page/", bodies.WORDS),
    ],
)
def test_too_much_for_the_address_is_not_read(shop: Shop, path: str, most: int) -> None:
    answer = says(Browser(enforce_csrf_checks=True), path, most + 1)
    assert answer.status_code == 413
    assert "more than we can take" in answer.content.decode()
    assert bodies.most_for(path) == most


def test_only_who_is_in_sends_pictures_inside(
    shop: Shop, desk: Browser, portal: Browser, commission: Commission
) -> None:
    ask = f"/my/{commission.number}/ask/"
    for stranger in (Browser(), Browser(headers={"Cookie": "shopdesk=made-up"})):
        assert says(stranger, ask, 4 * bodies.MB).status_code == 413
        assert says(stranger, "/desk/new/", 4 * bodies.MB).status_code == 413
    for inside, path in ((portal, ask), (desk, "/desk/new/")):
        assert says(inside, path, bodies.PICTURES + 1).status_code == 413
        with pytest.raises(AssertionError, match="It was read"):
            says(inside, path, 4 * bodies.MB)


def test_a_length_that_is_none_is_refused(shop: Shop) -> None:
    for length in ("-1", "many", "٣", "1" * 20):
        assert says(Browser(), "/request/", length).status_code == 400
    assert says(Browser(), "/request/", "", HTTP_TRANSFER_ENCODING="chunked").status_code == 411


def test_of_a_file_that_is_too_large_only_the_beginning_is_kept(
    monkeypatch: pytest.MonkeyPatch, portal: Browser, commission: Commission
) -> None:
    sizes: list[int] = []
    read = look.MOST_BYTES
    monkeypatch.setattr(uploads, "MOST_BYTES", 100_000)
    monkeypatch.setattr(look, "MOST_BYTES", 100_000)
    kept = actions._read

    def noted(upload: Any, said: str) -> bytes:
        sizes.append(upload.size)
        return kept(upload, said)

    monkeypatch.setattr(actions, "_read", noted)
    large = SimpleUploadedFile("large.txt", b"the quick brown fox\n" * 150_000)
    answer = portal.post(f"/my/{commission.number}/ask/", {"text": "How is it?", "photos": large})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "“large.txt” is larger than" in page
    assert "How is it?" in page
    assert sizes
    assert 100_000 < sizes[0] < 200_000 < read
