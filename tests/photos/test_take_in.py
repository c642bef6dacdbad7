"""Decoded, never trusted: what is taken in, what is refused and in which words, and what is left on the
disk."""

from __future__ import annotations

import errno
import io
import struct
import time
import zipfile
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageFile

from shopdesk.base.refusals import Refused
from shopdesk.photos import look
from shopdesk.photos.actions import clean_name, take_in
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture
from tests.photos import heic

pytestmark = pytest.mark.django_db


def sent(data: bytes, name: str = "desk.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def refusal(data: bytes, name: str = "desk.jpg") -> str:
    with pytest.raises(Refused) as no:
        take_in(sent(data, name), name)
    assert not Picture.objects.exists()
    return no.value.sentence


def kept_files(settings: Any) -> list[Path]:
    return [path for path in Path(settings.PICTURES).rglob("*") if path.is_file()]


def jpeg(size: tuple[int, int] = (400, 300), **save: Any) -> bytes:
    buffer = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(buffer, "JPEG", **save)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("name", "fmt", "ending"), [("a.jpg", "JPEG", "jpg"), ("b.png", "PNG", "png"), ("c.webp", "WEBP", "webp")]
)
def test_takes_what_browsers_send(
    picture_file: MakePicture, settings: Any, nudged: list[str], name: str, fmt: str, ending: str,
    django_capture_on_commit_callbacks: Any,
) -> None:  # fmt: skip
    upload = picture_file(name, (80, 60), fmt)
    with django_capture_on_commit_callbacks(execute=True):
        picture = take_in(upload, name)
    original = Path(settings.PICTURES) / picture.original_path
    upload.seek(0)
    assert original.read_bytes() == upload.read()
    assert (picture.width, picture.height, picture.original_name) == (80, 60, name)
    assert original.suffix == f".{ending}"
    assert picture.original_bytes == original.stat().st_size
    assert nudged == ["shopdesk.photos.prepare"]


def test_the_bytes_decide_and_not_the_name(picture_file: MakePicture) -> None:
    picture = take_in(picture_file("notes.txt", fmt="PNG"), "notes.txt")
    assert picture.original_path.endswith(".png")
    assert picture.original_name == "notes.txt"


def test_takes_heic_upright() -> None:
    picture = take_in(sent(heic.TURNED, "IMG_0012.HEIC"), "IMG_0012.HEIC")
    assert (picture.width, picture.height) == (48, 64)
    assert picture.original_path.endswith(".heic")


def test_notes_the_size_turned_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    picture = take_in(sent(jpeg((400, 300), exif=exif)), "desk.jpg")
    assert (picture.width, picture.height) == (300, 400)


def test_takes_a_phones_several_in_one_and_moving_pictures() -> None:
    first, second = Image.new("RGB", (64, 48), "teal"), Image.new("RGB", (32, 24), "olive")
    several = io.BytesIO()
    first.save(several, "MPO", save_all=True, append_images=[second])
    assert take_in(sent(several.getvalue()), "several.jpg").original_path.endswith(".jpg")
    film = b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00isommp42" + bytes(range(256)) * 40
    assert take_in(sent(jpeg() + film), "moving.jpg").width == 400
    assert take_in(sent(jpeg() + b"\x00" * 4096), "padded.jpg").width == 400
    webp = io.BytesIO()
    first.save(webp, "WEBP", save_all=True, append_images=[second.resize((64, 48))])
    assert take_in(sent(webp.getvalue()), "waving.webp").width == 64


def test_refuses_what_is_no_picture() -> None:
    words = "is not a picture that we can open. JPEG, PNG, WebP and HEIC work."
    assert refusal(b"Dear Runa,\nthe desk", "letter.txt") == f"“letter.txt” {words}"
    gif = io.BytesIO()
    Image.new("P", (8, 8)).save(gif, "GIF")
    assert words in refusal(gif.getvalue(), "dance.gif")
    tiff = io.BytesIO()
    Image.new("RGB", (8, 8)).save(tiff, "TIFF")
    assert words in refusal(tiff.getvalue(), "scan.tiff")
    assert words in refusal(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "logo.jpg")
    assert refusal(b"", "nothing.jpg") == "“nothing.jpg” is empty."


def test_refuses_thirty_megabytes_of_text_named_jpg() -> None:
    text = (b"the quick brown fox\n" * (30 * 1024 * 1024 // 20 + 1))[: 30 * 1024 * 1024]
    assert "is not a picture" in refusal(text, "big.jpg")
    assert refusal(text + b"!", "big.jpg") == "“big.jpg” is larger than 30 MB. Send a smaller copy of it."


def test_does_not_read_what_says_that_it_is_too_large() -> None:
    class Huge(io.RawIOBase):
        size = 10**12

        def read(self, size: int = -1, /) -> bytes:
            raise AssertionError("it was read")

    with pytest.raises(Refused, match="larger than 30 MB"):
        take_in(Huge(), "huge.jpg")


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("part", [0.97, 0.5, 0.1])
def test_refuses_what_is_cut_off(picture_file: MakePicture, fmt: str, part: float) -> None:
    whole = picture_file("a", (600, 400), fmt).read()
    words = "“a” is damaged or did not arrive whole. Choose it once more, or another one."
    assert refusal(whole[: int(len(whole) * part)], "a") == words


def test_refuses_a_progressive_jpeg_and_a_heic_that_are_cut_off() -> None:
    whole = jpeg((1200, 900), progressive=True)
    assert "did not arrive whole" in refusal(whole[:-300])
    assert "did not arrive whole" in refusal(heic.TURNED[:500], "a.heic")


def test_sees_a_cut_off_picture_even_after_weasyprint_was_imported() -> None:
    import weasyprint  # noqa: F401  it switches the check off for the whole process

    ImageFile.LOAD_TRUNCATED_IMAGES = True
    whole = jpeg()
    assert "did not arrive whole" in refusal(whole[: len(whole) // 2])


def png_that_claims(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\x00" * 100_000)) + chunk(b"IEND", b"")
    )


def test_refuses_too_many_pixels_by_the_header(monkeypatch: pytest.MonkeyPatch) -> None:
    def decoding(image: Image.Image) -> None:
        raise AssertionError("it was decoded")

    monkeypatch.setattr(look, "load", decoding)
    words = "has more than 50 megapixels. Send a smaller copy of it."
    for width, height in [(10_000, 6_000), (30_000, 30_000), (2**31 - 1, 2**31 - 1)]:
        assert words in refusal(png_that_claims(width, height), "bomb.png")
    assert words in refusal(heic.claiming(10_000, 6_000), "bomb.heic")
    flat = jpeg((16, 16))
    at = flat.index(b"\xff\xc0") + 5
    assert words in refusal(flat[:at] + struct.pack(">HH", 6000, 10_000) + flat[at + 4 :], "bomb.jpg")
    buffer = io.BytesIO()
    Image.new("RGB", (16, 16)).save(buffer, "WEBP", lossless=True)
    webp = bytearray(buffer.getvalue())
    webp[21:25] = ((16_000 - 1) | (16_000 - 1) << 14).to_bytes(4, "little")
    assert words in refusal(bytes(webp), "bomb.webp")
    animated = io.BytesIO()
    frames = [Image.new("RGB", (16, 16), colour) for colour in ("red", "blue")]
    frames[0].save(animated, "WEBP", save_all=True, append_images=frames[1:])
    webp = bytearray(animated.getvalue())
    assert webp[12:16] == b"VP8X"
    webp[24:30] = (16_000 - 1).to_bytes(3, "little") * 2
    assert words in refusal(bytes(webp), "bomb.webp")


def test_fifty_megapixels_are_still_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(look, "MOST_PIXELS", 400 * 300)
    assert take_in(sent(jpeg((400, 300))), "a.jpg").width == 400
    monkeypatch.setattr(look, "MOST_PIXELS", 400 * 300 - 1)
    with pytest.raises(Refused, match="megapixels"):
        take_in(sent(jpeg((400, 300))), "a.jpg")


def test_refuses_a_picture_that_is_something_else_as_well() -> None:
    words = "holds something else besides the picture, so we left it."
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("META-INF/MANIFEST.MF", "Main-Class: Bad")
    whole = jpeg()
    assert words in refusal(whole + archive.getvalue())
    assert words in refusal(whole + b"<?php system($_GET['c']); ?>")
    assert words in refusal(whole + b"<SCRIPT>alert(1)</SCRIPT>")
    assert words in refusal(whole + b"Rar!\x1a\x07\x01\x00")
    assert words in refusal(jpeg(comment=b"<html><body onload=alert(1)>"))
    assert words in refusal(jpeg(comment=b"%PDF-1.7\n1 0 obj"))


def test_a_full_disk_leaves_nothing_behind(
    picture_file: MakePicture, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("shopdesk.base.files.os.fsync", full)
    with pytest.raises(Refused) as no:
        take_in(picture_file(), "a.jpg")
    assert (
        no.value.sentence
        == "There is no room left to keep “a.jpg”. The shop has to make some; please tell them."
    )
    assert not Picture.objects.exists()
    assert kept_files(settings) == []


def test_no_file_stays_when_the_row_cannot_be_written(
    picture_file: MakePicture, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_row(**values: Any) -> None:
        raise RuntimeError("the database went away")

    monkeypatch.setattr(Picture.objects, "create", no_row)
    with pytest.raises(RuntimeError):
        take_in(picture_file(), "a.jpg")
    assert kept_files(settings) == []


def test_names_are_made_fit_to_be_said() -> None:
    assert clean_name("C:\\Photos\\desk.jpg") == "desk.jpg"
    assert clean_name("../../etc/passwd") == "passwd"
    assert clean_name("a\x00b\u202egpj.exe\n") == "abgpj.exe"
    assert clean_name("") == "picture"
    assert len(clean_name("é" * 500)) == 200
    assert clean_name("🪑.png") == "🪑.png"
    sentence = refusal(b"no", "x" * 300 + ".jpg")
    assert len(sentence) < 160
    assert "…xxxxxxxxxx.jpg”" in sentence


def with_scans(count: int) -> bytes:
    """A progressive JPEG whose last scan stands in it so many times more."""
    data = jpeg(progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:last] + data[last:-2] * (count + 1) + data[-2:]


def test_refuses_a_jpeg_of_endless_scans_before_it_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    assert take_in(sent(with_scans(10)), "a.jpg").width == 400
    Picture.objects.all().delete()
    monkeypatch.setattr(Image, "open", None)
    assert "is damaged" in refusal(with_scans(100))
    assert "is damaged" in refusal(b"\xff\xd8" + b"\xff\xe0\x00\x02" * 10_000)


def test_what_looks_like_scans_behind_or_within_a_picture_is_none() -> None:
    exif = Image.Exif()
    exif[0x010E] = "\xff\xda" * 100
    assert take_in(sent(jpeg(exif=exif) + b"\xff\xda\x00\x02" * 1000), "film.jpg").width == 400
    within = jpeg(comment=b"\xff\xda" * 1000)
    assert within.count(b"\xff\xda") > look.MOST_SCANS
    assert take_in(sent(within), "comment.jpg").width == 400


def test_a_long_list_of_entries_is_not_read() -> None:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        for number in range(5000):
            archive.writestr(str(number), b"")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(zipfile.ZipFile, "__init__", None)
        assert "something else besides" in refusal(jpeg() + held.getvalue())


def test_pictures_are_decoded_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    busy: list[int] = []
    together: list[int] = []
    load = look.load

    def slow(image: Image.Image) -> None:
        busy.append(1)
        together.append(len(busy))
        time.sleep(0.02)
        load(image)
        busy.pop()

    monkeypatch.setattr(look, "load", slow)
    with ThreadPoolExecutor(4) as several:
        judged = list(several.map(look.judge, [jpeg()] * 6))
    assert judged == [("JPEG", 400, 300)] * 6
    assert together == [1] * 6
