"""The demo's pictures: the same every time, each its own, and written as a phone would write them."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pytest
from PIL import ExifTags, Image, ImageChops, ImageCms, ImageOps, ImageStat

from shopdesk.running import drawings
from shopdesk.running.drawings import grain
from shopdesk.running.drawings.files import wide_profile
from shopdesk.running.drawings.shots import SHOTS

SMALL = (200, 150)
ROOT = Path(__file__).resolve().parents[2]


def apart(one: Image.Image, other: Image.Image) -> float:
    """Mean difference of two pictures, 0..255."""
    return sum(ImageStat.Stat(ImageChops.difference(one, other)).mean) / 3


@pytest.fixture(scope="module")
def small() -> dict[str, Image.Image]:
    return {name: drawings.draw(name, SMALL) for name in drawings.names()}


@pytest.mark.parametrize("name", drawings.names())
def test_each_picture_has_its_size_and_something_on_it(small: dict[str, Image.Image], name: str) -> None:
    picture = small[name]
    assert (picture.size, picture.mode) == (SMALL, "RGB")
    spread = ImageStat.Stat(picture.convert("L")).stddev[0]
    assert spread > 12, "a nearly even picture has lost its subject"
    assert 30 < ImageStat.Stat(picture.convert("L")).mean[0] < 200


def test_other_proportions_are_drawn_too() -> None:
    assert drawings.draw("hall-mirror-before", (150, 200)).size == (150, 200)


def test_no_two_pictures_are_alike(small: dict[str, Image.Image]) -> None:
    names = drawings.names()
    for number, name in enumerate(names):
        for other in names[number + 1 :]:
            assert apart(small[name], small[other]) > 3, (name, other)


def test_after_is_seen_to_differ_from_before(small: dict[str, Image.Image]) -> None:
    assert apart(small["desk-before-front"], small["desk-after-front"]) > 8
    assert apart(small["armchair-before"], small["armchair-after"]) > 8
    # the finished desk is warmer: more red against blue on the drawers of its right pedestal
    drawers = (118, 70, 154, 126)
    warmth = {}
    for name in ("desk-before-front", "desk-after-front"):
        red, _, blue = ImageStat.Stat(small[name].crop(drawers)).mean
        warmth[name] = red / blue
    assert warmth["desk-after-front"] > warmth["desk-before-front"] * 1.15


def test_the_same_picture_comes_out_again_also_in_another_process(small: dict[str, Image.Image]) -> None:
    name = "desk-before-top"
    expected = hashlib.sha256(small[name].tobytes()).hexdigest()
    grain.figure.cache_clear()
    grain.sheet.cache_clear()
    assert hashlib.sha256(drawings.draw(name, SMALL).tobytes()).hexdigest() == expected
    code = (
        "import hashlib; from shopdesk.running.drawings import draw;"
        f"print(hashlib.sha256(draw({name!r}, {SMALL!r}).tobytes()).hexdigest())"
    )
    for seed in ("1", "2"):
        answer = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        assert answer.stdout.strip() == expected


def test_an_unknown_name_is_an_error() -> None:
    with pytest.raises(KeyError):
        drawings.draw("a-picture-nobody-drew", SMALL)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return drawings.save_all(tmp_path_factory.mktemp("pictures") / "new folder", size=SMALL)


def test_every_picture_is_written_as_a_jpeg(written: dict[str, Path]) -> None:
    assert list(written) == drawings.names()
    for name, path in written.items():
        with Image.open(path) as picture:
            picture.load()
            assert picture.format == "JPEG"
            upright = ImageOps.exif_transpose(picture)
            assert upright.size == SMALL, name


def test_only_the_named_ones_are_written(tmp_path: Path) -> None:
    written = drawings.save_all(tmp_path, only=["hall-mirror-before"], size=SMALL)
    assert written == {"hall-mirror-before": tmp_path / "hall-mirror-before.jpg"}
    assert [path.name for path in tmp_path.iterdir()] == ["hall-mirror-before.jpg"]


def test_places_are_in_the_files_where_promised(written: dict[str, Path]) -> None:
    located = {name for name, shot in SHOTS.items() if shot.located}
    assert "desk-before-front" in located
    for name, path in written.items():
        with Image.open(path) as picture:
            place = picture.getexif().get_ifd(ExifTags.IFD.GPSInfo)
        assert bool(place) == (name in located), name
        if place:
            assert place[ExifTags.GPS.GPSLatitudeRef] == "N"
            assert [float(part) for part in place[ExifTags.GPS.GPSLatitude]] == [41.0, 12.0, 36.0]


def test_sideways_ones_stand_up_when_their_tag_is_heeded(
    written: dict[str, Path], small: dict[str, Image.Image]
) -> None:
    sideways = [name for name, shot in SHOTS.items() if shot.sideways]
    assert sideways
    for name in sideways:
        with Image.open(written[name]) as picture:
            assert picture.size == SMALL[::-1]
            assert picture.getexif()[ExifTags.Base.Orientation] == 6
            assert apart(ImageOps.exif_transpose(picture), small[name]) < 4


def test_wide_ones_come_back_to_the_same_colours_through_their_profile(
    written: dict[str, Path], small: dict[str, Image.Image]
) -> None:
    wide = [name for name, shot in SHOTS.items() if shot.wide]
    assert wide
    for name in wide:
        with Image.open(written[name]) as picture:
            assert picture.info["icc_profile"] == wide_profile()
            source = ImageCms.ImageCmsProfile(BytesIO(picture.info["icc_profile"]))
            back = ImageCms.profileToProfile(
                picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
            assert back is not None
            assert apart(back, small[name]) < 4


def test_the_wide_profile_is_wider_than_srgb() -> None:
    """Pure sRGB red is well inside it, at about (234, 51, 35) (from memory)."""
    target = ImageCms.ImageCmsProfile(BytesIO(wide_profile()))
    red = Image.new("RGB", (1, 1), (255, 0, 0))
    turned = ImageCms.profileToProfile(red, ImageCms.createProfile("sRGB"), target, outputMode="RGB")
    assert turned is not None
    found = turned.getpixel((0, 0))
    assert isinstance(found, tuple)
    assert all(abs(a - b) <= 3 for a, b in zip(found, (234, 51, 35), strict=True)), found


@pytest.mark.parametrize(
    ("timber", "tone"), [("walnut", (92, 58, 38)), ("oak", (146, 98, 54)), ("walnut", (40, 44, 52))]
)
def test_three_coats_on_a_sample_board_are_the_tone(timber: str, tone: tuple[int, int, int]) -> None:
    board = drawings.sample_board(tone, timber, "A tone", "one, two, three coats", (600, 450))
    coats = [ImageStat.Stat(board.crop((left, 135, left + 60, 250))).mean for left in (210, 310, 408)]
    assert all(abs(found - wished) < 9 for found, wished in zip(coats[2], tone, strict=True)), coats
    assert sum(coats[0]) > sum(coats[1]) > sum(coats[2])
