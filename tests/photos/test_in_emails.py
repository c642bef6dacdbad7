"""The picture that an email carries: a small JPEG of the one that pages show."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.conf import settings
from PIL import Image, ImageCms

from shopdesk.base import blobs
from shopdesk.photos import actions, renditions
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


def opened(blob: blobs.Blob) -> Image.Image:
    assert blob.mime == "image/jpeg"
    return Image.open(io.BytesIO(blob.data))


def exif(turned: int) -> Image.Exif:
    made = Image.Exif()
    made[0x0112] = turned
    made[0x010F] = "Camera"
    return made


@pytest.mark.parametrize(
    ("size", "turned", "shown"),
    [
        ((4000, 3000), 1, (800, 600)),
        ((4000, 3000), 6, (600, 800)),  # a phone held upright
        ((320, 240), 1, (320, 240)),  # never enlarged
        ((3000, 30), 1, (800, 8)),
    ],
)
def test_it_is_upright_small_and_bare(
    picture_file: MakePicture, size: tuple[int, int], turned: int, shown: tuple[int, int]
) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    upload = picture_file(size=size, exif=exif(turned), icc_profile=profile)
    picture = take_in(upload, "a.jpg")
    ref = f"pictures:{picture.pk}:mail"
    with pytest.raises(blobs.NotYet):
        blobs.fetch(ref)
    actions.prepare_all()
    blob = blobs.fetch(ref)
    with opened(blob) as image:
        assert (image.format, image.mode, image.size) == ("JPEG", "RGB", shown)
        assert not {"exif", "icc_profile", "xmp", "comment"} & set(image.info)
    picture.refresh_from_db()
    assert renditions.size_in_mail(picture.width, picture.height) == shown
    assert blobs.fetch(ref) == blob


def test_even_noise_is_light_and_the_same_every_time(picture_file: MakePicture) -> None:
    noise = Image.effect_noise((1600, 1200), 120).convert("RGB")
    data = io.BytesIO()
    noise.save(data, "WEBP", quality=90)
    made = renditions.for_mail(data.getvalue())
    assert len(made) <= renditions.MAIL_BYTES == 150_000
    assert renditions.for_mail(data.getvalue()) == made


def test_what_cannot_be_shown_is_gone(picture_file: MakePicture, monkeypatch: Any) -> None:
    picture = take_in(picture_file(), "a.jpg")
    Picture.objects.filter(pk=picture.pk).update(state="failed", trouble="It cannot be decoded.")
    with pytest.raises(blobs.Gone, match="It cannot be decoded"):
        blobs.fetch(f"pictures:{picture.pk}:mail")
    other = take_in(picture_file(), "b.jpg")
    actions.prepare_all()
    (settings.PICTURES / other.renditions.get(size="medium").path).unlink()
    with pytest.raises(blobs.Gone, match="file is gone"):
        blobs.fetch(f"pictures:{other.pk}:mail")
