"""A page knows how large a rendition is without looking it up."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from shopdesk.photos import look, renditions


@pytest.mark.parametrize(
    "size", [(1, 1), (480, 480), (481, 3), (640, 481), (1201, 1999), (2401, 1601), (2999, 2001), (4033, 3023)]
)
@pytest.mark.parametrize("fmt", ["PNG", "JPEG"])
def test_the_renditions_have_the_sizes_that_pages_say(size: tuple[int, int], fmt: str) -> None:
    buffer = io.BytesIO()
    Image.new("RGB", size).save(buffer, fmt)
    made = {one.size: (one.width, one.height) for one in renditions.make(buffer.getvalue())}
    assert made == renditions.sizes_of(*size)


def test_a_picture_on_its_side_has_the_sizes_of_the_upright_one() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    buffer = io.BytesIO()
    Image.new("RGB", (3001, 1999)).save(buffer, "JPEG", exif=exif)
    _, width, height = look.judge(buffer.getvalue())
    assert (width, height) == (1999, 3001)
    made = {one.size: (one.width, one.height) for one in renditions.make(buffer.getvalue())}
    assert made == renditions.sizes_of(width, height)
