"""Pictures as they go out: kept by the browser once they are there, and never more than somebody may see."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.template import Context, Template, TemplateSyntaxError
from django.test import RequestFactory, override_settings
from django.urls import include, path
from PIL import Image

from shopdesk.base import blobs
from shopdesk.photos import actions, serve
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


def _picture(request: HttpRequest, key: UUID, size: str) -> HttpResponse:
    return HttpResponse()


def _side(name: str, at: str) -> Any:
    return path(at, include(([path("<uuid:key>/<str:size>.webp", _picture, name="picture")], name)))


urlpatterns = [
    _side("desk", "desk/pictures/"),
    _side("portal", "my/pictures/"),
    _side("intake", "request/pictures/"),
]


def prepared(
    picture_file: MakePicture, size: tuple[int, int] = (1500, 1000), name: str = "desk.jpg"
) -> Picture:
    picture = actions.take_in(picture_file(name, size), name)
    actions.prepare_all()
    return Picture.objects.prefetch_related("renditions").get(pk=picture.pk)


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else bytes(answer.content)


def test_serves_a_rendition(picture_file: MakePicture) -> None:
    picture = prepared(picture_file)
    answer = serve.rendition_response(picture, "medium")
    data = body(answer)
    rendition = picture.renditions.get(size="medium")
    assert answer.status_code == 200
    assert hashlib.sha256(data).hexdigest() == rendition.sha256
    assert answer["Content-Type"] == "image/webp"
    assert answer["Content-Length"] == str(len(data))
    assert answer["ETag"] == f'"{rendition.sha256}"'
    assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"].startswith("inline")
    with Image.open(io.BytesIO(data)) as image:
        assert image.size == (1200, 800)


def test_tells_a_browser_that_it_has_it_already(picture_file: MakePicture) -> None:
    picture = prepared(picture_file)
    etag = serve.rendition_response(picture, "small")["ETag"]
    request = RequestFactory().get("/", headers={"If-None-Match": etag})
    assert serve.rendition_response(picture, "small", request).status_code == 304
    other = RequestFactory().get("/", headers={"If-None-Match": '"other"'})
    assert serve.rendition_response(picture, "small", other).status_code == 200


def test_says_that_it_is_being_prepared(picture_file: MakePicture) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    answer = serve.rendition_response(picture, "small")
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer["Cache-Control"] == "private, no-store"
    assert b"Being prepared" in body(answer)
    with pytest.raises(blobs.NotYet):
        blobs.fetch(f"pictures:{picture.pk}:small")
    Picture.objects.update(state=Picture.State.FAILED)
    picture.refresh_from_db()
    assert b"This picture cannot be shown" in body(serve.rendition_response(picture, "small"))


def test_knows_only_its_sizes(picture_file: MakePicture, settings: Any) -> None:
    picture = prepared(picture_file)
    for size in ("original", "../large", "", "LARGE"):
        with pytest.raises(Http404):
            serve.rendition_response(picture, size)
    for ref in (
        "pictures:0:large",
        f"pictures:{picture.pk}:original",
        f"pictures:{picture.pk}",
        "pictures:x:y",
        "pictures:²:large",
    ):
        with pytest.raises(blobs.Gone):
            blobs.fetch(ref)
    (Path(settings.PICTURES) / picture.renditions.get(size="small").path).unlink()
    with pytest.raises(Http404):
        serve.rendition_response(picture, "small")
    with pytest.raises(blobs.Gone):
        blobs.fetch(f"pictures:{picture.pk}:small")


def test_notices_a_damaged_file(picture_file: MakePicture, settings: Any) -> None:
    picture = prepared(picture_file)
    (Path(settings.PICTURES) / picture.renditions.get(size="small").path).write_bytes(b"RIFF")
    with pytest.raises(blobs.Gone, match="damaged"):
        blobs.fetch(f"pictures:{picture.pk}:small")


def test_hands_the_original_over_to_be_saved(picture_file: MakePicture, settings: Any) -> None:
    upload = picture_file("Großmutters Tisch.jpeg.exe", fmt="PNG")
    picture = actions.take_in(upload, upload.name or "")
    answer = serve.original_response(picture)
    assert isinstance(answer, FileResponse)
    upload.seek(0)
    assert body(answer) == upload.read()
    assert answer["Content-Type"] == "image/png"
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["Content-Disposition"].endswith(".png")
    assert "sandbox" in answer["Content-Security-Policy"]
    assert answer["X-Content-Type-Options"] == "nosniff"
    (Path(settings.PICTURES) / picture.original_path).unlink()
    with pytest.raises(Http404):
        serve.original_response(picture)


# -- the tag -------------------------------------------------------------------------------------------------


def written(picture: Picture, tag: str, at: str = "/my/") -> str:
    page = Template("{% load pictures %}" + tag)
    with override_settings(ROOT_URLCONF="tests.photos.test_serve"):
        return page.render(
            Context({"shown": picture, "request": RequestFactory().get(at), "words": "A <desk>"})
        )


def test_writes_an_image_with_its_size_and_words(
    picture_file: MakePicture, django_assert_num_queries: Any
) -> None:
    picture = prepared(picture_file)
    with django_assert_num_queries(0):
        tag = written(picture, '{% picture shown "medium" words %}')
    at = f"/my/pictures/{picture.key}"
    sources = f"{at}/small.webp 480w, {at}/medium.webp 1200w, {at}/large.webp 1500w"
    assert tag.startswith(f'<img src="{at}/medium.webp" srcset="{sources}"')
    assert 'width="1200" height="800" alt="A &lt;desk&gt;" loading="lazy"' in tag
    assert "style=" not in tag
    eager = written(picture, '{% picture shown "small" "" room="6rem" eager=True %}')
    assert "loading" not in eager
    assert 'sizes="6rem"' in eager
    assert 'alt=""' in eager


def test_a_small_picture_has_one_address(picture_file: MakePicture) -> None:
    assert "srcset" not in written(prepared(picture_file, (300, 200)), '{% picture shown "large" "x" %}')


@pytest.mark.parametrize(
    ("at", "side"),
    [("/desk/c/24-001/", "/desk/"), ("/my/24-001/", "/my/"), ("/request/", "/request/"), ("/in/abc", "/my/")],
)
def test_the_address_is_that_of_the_side(picture_file: MakePicture, at: str, side: str) -> None:
    picture = prepared(picture_file, (300, 200))
    assert f'src="{side}pictures/{picture.key}/small.webp"' in written(
        picture, '{% picture shown "small" "x" %}', at
    )


def test_says_in_words_that_it_is_being_prepared(picture_file: MakePicture) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    assert written(picture, '{% picture shown "small" words %}') == (
        '<span class="preparing" role="img" aria-label="A &lt;desk&gt;, being prepared">Being prepared</span>'
    )
    picture.state = Picture.State.FAILED
    assert "cannot be shown" in written(picture, '{% picture shown "small" words %}')


def test_refuses_a_size_that_there_is_not(picture_file: MakePicture) -> None:
    with pytest.raises(TemplateSyntaxError, match="no size 'huge'"):
        written(prepared(picture_file, (30, 20)), '{% picture shown "huge" words %}')
