"""The demo's pictures, drawn by code: a harbour office's writing desk and armchair before, during and after,
other people's pieces, sample boards. The same name and size always give the same picture.

    draw("desk-before-front")                 an upright sRGB image
    save_all(folder)                          every picture as a .jpg, some as a phone would write them
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from PIL import Image

from .files import write
from .shots import SHOTS, sample_board

__all__ = ["draw", "names", "sample_board", "save_all"]

SIZE = (2000, 1500)


def names() -> list[str]:
    """Every picture there is, in the order of the story."""
    return list(SHOTS)


def draw(name: str, size: tuple[int, int] = SIZE) -> Image.Image:
    """The picture `name` at `size` pixels, upright, sRGB. Raises KeyError for a name not in `names()`."""
    return SHOTS[name].paint(size)


def save_all(
    folder: Path, only: Iterable[str] | None = None, size: tuple[int, int] = SIZE
) -> dict[str, Path]:
    """Draw the pictures (all, or those in `only`) into `folder` as JPEG files; answers where each one is.

    Some are stored sideways with an orientation tag, some carry a place, some a wide profile: see `Shot`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: dict[str, Path] = {}
    for name in list(SHOTS) if only is None else only:
        shot = SHOTS[name]
        path = folder / f"{name}.jpg"
        write(shot.paint(size), path, sideways=shot.sideways, located=shot.located, wide=shot.wide)
        written[name] = path
    return written
