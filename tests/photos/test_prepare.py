"""Renditions: upright, bare, in three sizes; and a worker that may be killed, doubled or out of room."""

from __future__ import annotations

import errno
import hashlib
import io
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.utils import timezone
from PIL import Image, ImageCms

from shopdesk.base import blobs, files, work
from shopdesk.intake.models import Draft, DraftPicture
from shopdesk.photos import actions, renditions
from shopdesk.photos.models import Picture, Rendition
from tests.conftest import MakePicture
from tests.photos import heic

pytestmark = pytest.mark.django_db


def taken(data: bytes, name: str = "desk.jpg") -> Picture:
    return actions.take_in(SimpleUploadedFile(name, data), name)


def saved(image: Image.Image, fmt: str = "PNG", **save: Any) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, fmt, **save)
    return buffer.getvalue()


def shown(data: bytes, size: str = "large") -> Image.Image:
    """The rendition that is made of an original."""
    made = {one.size: one.data for one in renditions.make(data)}
    return Image.open(io.BytesIO(made[size]))


def near(pixel: Any, wanted: tuple[int, int, int], by: int = 4) -> bool:
    return all(abs(one - other) <= by for one, other in zip(pixel, wanted, strict=True))


def test_makes_three_sizes_and_says_when_they_are_there(
    settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    picture = taken(saved(Image.linear_gradient("L").resize((3000, 2000)), "JPEG"))
    heard: list[str] = []

    def hear(ref: str, **kwargs: Any) -> None:
        heard.append(ref)

    blobs.ready.connect(hear)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            assert actions.prepare_all() == 1
    finally:
        blobs.ready.disconnect(hear)
    picture.refresh_from_db()
    assert picture.prepared
    assert sorted(heard) == [f"pictures:{picture.pk}:{size}" for size in ("large", "mail", "medium", "small")]
    sizes = {one.size: (one.width, one.height) for one in picture.renditions.all()}
    assert sizes == {"large": (2400, 1600), "medium": (1200, 800), "small": (480, 320)}
    for one in picture.renditions.all():
        data = (Path(settings.PICTURES) / one.path).read_bytes()
        assert (hashlib.sha256(data).hexdigest(), len(data)) == (one.sha256, one.bytes)
        with Image.open(io.BytesIO(data)) as image:
            assert (image.format, image.size) == ("WEBP", (one.width, one.height))
        assert blobs.fetch(f"pictures:{picture.pk}:{one.size}") == blobs.Blob(data, "image/webp")


def test_never_enlarges() -> None:
    assert [(one.width, one.height) for one in renditions.make(saved(Image.new("RGB", (600, 40))))] == [
        (600, 40), (600, 40), (480, 32),
    ]  # fmt: skip
    assert [(one.width, one.height) for one in renditions.make(saved(Image.new("RGB", (5000, 1))))] == [
        (2400, 1), (1200, 1), (480, 1),
    ]  # fmt: skip


def test_removes_every_bit_of_metadata() -> None:
    exif = Image.Exif()
    exif[0x010F] = "Maker of phones"
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 0.0), 3: "W", 4: (0.0, 7.0, 0.0)})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    image = Image.new("RGB", (640, 480), "teal")
    for data in (
        saved(
            image, "JPEG", exif=exif, icc_profile=profile, xmp=b"<x:xmpmeta>secret</x:xmpmeta>", comment=b"hi"
        ),
        saved(image, "WEBP", exif=exif, icc_profile=profile, xmp=b"<x:xmpmeta>secret</x:xmpmeta>"),
        saved(image, "PNG", exif=exif, icc_profile=profile),
        heic.TURNED,
    ):
        with Image.open(io.BytesIO(data)) as original:
            assert "exif" in original.info or original.getexif()  # so that there is something to remove
        for made in renditions.make(data):
            # RFC 9649: the chunks that could carry any are EXIF, XMP and ICCP, and need the extended header.
            assert made.data[12:16] == b"VP8 "
            with Image.open(io.BytesIO(made.data)) as image_made:
                assert not image_made.getexif()
                assert not {"exif", "xmp", "icc_profile", "comment"} & set(image_made.info)
            for secret in (b"Maker", b"secret", b"EXIF", b"ICCP", b"GPS"):
                assert secret not in made.data


# How each Exif orientation shows the four corners of a stored picture, clockwise from the top left as it
# should be seen: Exif 2.3 (CIPA DC-008), tag 0x0112, by the meaning of "0th row" and "0th column" for each
# value.
CORNERS = {1: "ABCD", 2: "BADC", 3: "CDAB", 4: "DCBA", 5: "ADCB", 6: "DABC", 7: "CBAD", 8: "BCDA"}
COLOURS = {"A": (200, 40, 40), "B": (40, 160, 40), "C": (40, 60, 200), "D": (220, 200, 40)}


@pytest.mark.parametrize("orientation", CORNERS)
def test_turns_upright(orientation: int) -> None:
    stored = Image.new("RGB", (320, 160))
    for letter, box in {"A": (0, 0), "B": (160, 0), "C": (160, 80), "D": (0, 80)}.items():
        stored.paste(COLOURS[letter], (*box, box[0] + 160, box[1] + 80))
    exif = Image.Exif()
    exif[0x0112] = orientation
    image = shown(saved(stored, "JPEG", exif=exif, quality=95, subsampling=0)).convert("RGB")
    width, height = (160, 320) if orientation > 4 else (320, 160)
    assert image.size == (width, height)
    seen = [(20, 20), (width - 20, 20), (width - 20, height - 20), (20, height - 20)]
    for place, letter in zip(seen, CORNERS[orientation], strict=True):
        assert near(image.getpixel(place), COLOURS[letter], 6), (orientation, letter)


def test_prepares_heic() -> None:
    image = shown(heic.TURNED).convert("RGB")
    assert image.size == (48, 64)
    assert near(
        image.getpixel((24, 10)), (20, 90, 160), 12
    )  # the left half is on top after a quarter turn clockwise
    assert near(image.getpixel((24, 54)), (200, 120, 60), 12)


def test_shows_paper_through_what_is_transparent() -> None:
    image = Image.new("RGBA", (64, 64), (200, 30, 30, 0))
    image.paste((30, 60, 90, 255), (0, 0, 32, 64))
    image.paste((0, 0, 0, 128), (32, 32, 64, 64))
    for data in (saved(image), saved(image, "WEBP", lossless=True)):
        flat = shown(data).convert("RGB")
        assert near(flat.getpixel((8, 8)), (30, 60, 90))
        assert near(flat.getpixel((56, 8)), renditions.PAPER)
        assert near(flat.getpixel((56, 56)), (127, 126, 124))


def test_shows_the_other_kinds_of_pixels() -> None:
    for image, wanted in [
        (Image.new("I;16", (32, 32), 40_000), (156, 156, 156)),
        (Image.new("1", (32, 32), 1), (255, 255, 255)),
        (Image.new("L", (32, 32), 90), (90, 90, 90)),
        (Image.new("LA", (32, 32), (90, 255)), (90, 90, 90)),
        (Image.new("RGB", (32, 32), (10, 200, 90)).quantize(), (10, 200, 90)),
    ]:
        assert near(shown(saved(image)).convert("RGB").getpixel((16, 16)), wanted), image.mode
    transparent = Image.new("P", (32, 32), 0)
    transparent.putpalette([10, 200, 90, 0, 0, 0])
    assert near(shown(saved(transparent, transparency=0)).convert("RGB").getpixel((16, 16)), renditions.PAPER)
    ink = Image.new("CMYK", (32, 32), (0, 128, 255, 0))
    assert near(shown(saved(ink, "JPEG", quality=95)).convert("RGB").getpixel((16, 16)), (255, 127, 0), 6)


def test_takes_a_broken_or_unfitting_profile_for_srgb() -> None:
    image = Image.new("RGB", (32, 32), (90, 140, 30))
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for profile in (b"not a profile", lab, lab[:60]):
        data = saved(image, "JPEG", icc_profile=profile, quality=95)
        assert near(shown(data).convert("RGB").getpixel((16, 16)), (90, 140, 30))


def test_shows_the_first_of_a_moving_picture() -> None:
    frames = [Image.new("RGB", (32, 32), colour) for colour in ("#336699", "#ffffff")]
    for fmt in ("WEBP", "PNG"):
        data = saved(frames[0], fmt, save_all=True, append_images=frames[1:])
        assert near(shown(data).convert("RGB").getpixel((16, 16)), (0x33, 0x66, 0x99))


# -- the worker ----------------------------------------------------------------------------------------------


def test_the_same_again_after_a_kill_half_way(
    picture_file: MakePicture, settings: Any, monkeypatch: Any
) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")

    def killed(*args: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(actions, "_finish", killed)
        with pytest.raises(KeyboardInterrupt):
            actions.prepare_all()
    left = {path: path.read_bytes() for path in (Path(settings.PICTURES) / "renditions").rglob("*.webp")}
    assert len(left) == 3
    assert actions.prepare_all() == 0  # the dead worker's lease still holds
    Picture.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert actions.prepare_all() == 1
    picture.refresh_from_db()
    assert picture.prepared
    assert picture.tries == 2
    assert {path: path.read_bytes() for path in left} == left
    assert picture.renditions.count() == 3


def test_whoever_lost_the_lease_changes_nothing(picture_file: MakePicture) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    late = work.claim(Picture.objects.all(), lease=timedelta(seconds=-1))
    assert late is not None
    assert actions.prepare_all() == 1
    before = set(Rendition.objects.values_list("pk", flat=True))
    actions.prepare(late)
    assert set(Rendition.objects.values_list("pk", flat=True)) == before
    picture.refresh_from_db()
    assert picture.prepared


@pytest.mark.django_db(transaction=True)
def test_two_workers_prepare_one_picture_once(picture_file: MakePicture, monkeypatch: Any) -> None:
    actions.take_in(picture_file(), "a.jpg")
    made: list[int] = []
    together = threading.Barrier(2)
    make = renditions.make

    def counted(data: bytes) -> list[renditions.Made]:
        made.append(1)
        return make(data)

    monkeypatch.setattr(renditions, "make", counted)

    def worker() -> None:
        try:
            together.wait()
            actions.prepare_all()
        finally:
            connection.close()

    workers = [threading.Thread(target=worker) for _ in range(2)]
    for one in workers:
        one.start()
    for one in workers:
        one.join(60)
    assert made == [1]
    assert Rendition.objects.count() == 3
    assert Picture.objects.get().tries == 1


def test_a_full_disk_is_waited_for(picture_file: MakePicture, settings: Any, monkeypatch: Any) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("shopdesk.base.files.os.fsync", full)
        assert actions.prepare_all() == 1
    picture.refresh_from_db()
    assert (picture.state, picture.trouble) == (Picture.State.WAITING, "There is no room left on the disk.")
    assert picture.due_at > timezone.now() + timedelta(seconds=10)
    assert not list((Path(settings.PICTURES) / "renditions").rglob("*.webp"))
    assert not Rendition.objects.exists()
    Picture.objects.update(due_at=timezone.now())
    actions.prepare_all()
    picture.refresh_from_db()
    assert picture.prepared
    assert picture.trouble == ""


def test_gives_up_what_can_never_be_prepared(picture_file: MakePicture, settings: Any) -> None:
    broken, gone, deadly = [actions.take_in(picture_file(), "a.jpg") for _ in range(3)]
    (Path(settings.PICTURES) / broken.original_path).write_bytes(b"\xff\xd8\xffno more")
    (Path(settings.PICTURES) / gone.original_path).unlink()
    Picture.objects.filter(pk=deadly.pk).update(tries=actions.MOST_TRIES)
    actions.prepare_all()
    troubles = dict(Picture.objects.filter(state=Picture.State.FAILED).values_list("pk", "trouble"))
    assert troubles[broken.pk] == "It cannot be decoded."
    assert troubles[gone.pk] == "The original is no longer there."
    assert "never came to an end" in troubles[deadly.pk]
    with pytest.raises(blobs.Gone):
        blobs.fetch(f"pictures:{broken.pk}:large")


def test_forgotten_while_it_is_being_prepared(
    picture_file: MakePicture, settings: Any, monkeypatch: Any
) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    finish = actions._finish

    def forgotten_first(claimed: Picture, rows: list[Rendition]) -> None:
        Picture.objects.filter(pk=picture.pk).delete()
        finish(claimed, rows)

    monkeypatch.setattr(actions, "_finish", forgotten_first)
    actions.prepare_all()
    assert not list((Path(settings.PICTURES) / "renditions").rglob("*.webp"))


# -- forgetting ----------------------------------------------------------------------------------------------


def test_forgets_row_and_files(
    picture_file: MakePicture,
    settings: Any,
    work: Callable[[], None],
    django_capture_on_commit_callbacks: Any,
) -> None:
    picture = actions.take_in(picture_file(), "a.jpg")
    work()
    with django_capture_on_commit_callbacks(execute=True):
        actions.forget(Picture.objects.get())
    assert not Picture.objects.exists()
    assert [path for path in Path(settings.PICTURES).rglob("*") if path.is_file()] == []
    with pytest.raises(blobs.Gone):
        blobs.fetch(f"pictures:{picture.pk}:small")


@pytest.mark.django_db(transaction=True)
def test_tidies_what_nothing_refers_to(picture_file: MakePicture, settings: Any) -> None:
    kept, forgotten, fresh = [actions.take_in(picture_file(), "a.jpg") for _ in range(3)]
    DraftPicture.objects.create(draft=Draft.objects.create(), picture=kept, place=0)
    now = timezone.now()
    Picture.objects.exclude(pk=fresh.pk).update(made_at=now - timedelta(days=2))
    orphan = Path(settings.PICTURES) / "originals" / "ab" / "abcdef00-0000-4000-8000-000000000000.jpg"
    files.put(orphan, b"left behind")
    assert actions.tidy(now - timedelta(days=1)) == 1
    assert set(Picture.objects.values_list("pk", flat=True)) == {kept.pk, fresh.pk}
    assert not (Path(settings.PICTURES) / forgotten.original_path).exists()
    assert orphan.exists()  # it is young: somebody may be about to write its row
    assert actions.tidy(now + timedelta(minutes=1)) == 2
    assert not orphan.exists()
    assert list(Picture.objects.values_list("pk", flat=True)) == [kept.pk]
    assert (Path(settings.PICTURES) / kept.original_path).exists()


def test_tidies_once_a_day(monkeypatch: Any) -> None:
    times: list[Any] = []
    monkeypatch.setattr(actions, "tidy", times.append)
    actions.tidy_now_and_then()
    actions.tidy_now_and_then()
    assert len(times) == 1
