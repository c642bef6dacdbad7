"""A photo's renditions by the worker, against Pillow making the same ones."""

from __future__ import annotations

import io
import tempfile
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageCms

from shopdesk.photos import actions, renditions
from shopdesk.photos.models import Picture
from shopdesk.running import drawings
from shopdesk.running.drawings.files import write
from shopdesk.running.measures.timing import Ratio, in_turn

GOAL = 1.3
TWELVE_MEGAPIXELS = (4032, 3024)


@lru_cache(maxsize=4)
def phone_photo(size: tuple[int, int] = TWELVE_MEGAPIXELS) -> bytes:
    """A JPEG as a phone writes it: a piece in a room, a sensor's noise, a wide colour space."""
    drawn = drawings.draw("desk-before-front", (800, 600)).resize(size, Image.Resampling.BICUBIC)
    noise = Image.effect_noise(size, 24).convert("RGB")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        write(Image.blend(drawn, noise, 0.08), path, sideways=False, located=True, wide=True)
        return path.read_bytes()


def measure(*, rounds: int = 8, size: tuple[int, int] = TWELVE_MEGAPIXELS) -> Ratio:
    """The worker's whole part: claiming the row, reading the original, renditions, files and rows; ÷ Pillow
    alone, in memory."""
    data = phone_photo(size)
    picture = actions.take_in(io.BytesIO(data), "photo.jpg")
    rows = Picture.objects.filter(pk=picture.pk)

    def due() -> None:
        rows.update(state=Picture.State.WAITING, tries=0)

    def prepare() -> None:
        actions.prepare_all()

    timed = in_turn(
        "a photo's renditions", prepare, lambda: bare(data), goal=GOAL, rounds=rounds, between=due
    )
    made = {one.size: (one.width, one.height) for one in rows.get().renditions.all()}
    if made != {name: image.size for name, image in _opened(bare(data)).items()}:
        raise AssertionError(f"The two did not make the same renditions: {made}")
    return timed


def bare(data: bytes) -> dict[str, bytes]:
    """The same renditions by Pillow alone: no judging, no orientation, no database, no disk. Made small
    before the colours are converted and each from the one before, which is the quickest way that gives the
    same pictures."""
    made: dict[str, bytes] = {}
    with Image.open(io.BytesIO(data)) as opened:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(opened.info["icc_profile"]))
        image: Image.Image = opened.copy()
    converted = False
    for size, edge in renditions.SIZES.items():
        scale = min(1.0, edge / max(image.size))
        smaller = (round(image.width * scale), round(image.height * scale))
        image = image.resize(smaller, Image.Resampling.LANCZOS, reducing_gap=2.0)
        if not converted:
            in_srgb = ImageCms.profileToProfile(
                image,
                profile,
                ImageCms.createProfile("sRGB"),
                renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
                outputMode="RGB",
                flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
            )
            assert in_srgb is not None
            image, converted = in_srgb, True
        buffer = io.BytesIO()
        # None of the three comes along, as in what the app makes.
        image.save(buffer, "WEBP", quality=renditions.QUALITY, method=4, exif=b"", xmp=b"", icc_profile=b"")
        made[size] = buffer.getvalue()
    return made


def _opened(made: dict[str, bytes]) -> dict[str, Image.Image]:
    return {name: Image.open(io.BytesIO(data)) for name, data in made.items()}
