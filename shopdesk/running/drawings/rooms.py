"""Where pieces stand: a quiet corner of the workshop, a bench top, the spray booth."""

from __future__ import annotations

from functools import lru_cache
from math import pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from .grain import Colour, Timber, canvas, plaster, tinted
from .joinery import shaded
from .stage import Point3, Stage, lit

FAR = -115.0  # the wall


@lru_cache(maxsize=4)
def _boards(k: float, seed: int) -> Image.Image:
    """620 x 400 cm of old floor boards, running across."""
    density = max(1.0, 4.2 * k)
    timber = Timber("floor", density, seed, "pine", spread=0.14)
    image = Image.new("RGB", (round(620 * density), round(400 * density)))
    rng, z = Random(seed), 0.0
    while z < 400:
        wide = rng.uniform(13, 17)
        row, x = round(z * density), -rng.uniform(0, 160)
        while x < 620:
            board = timber.board(160, wide)
            image.paste(board, (round(x * density), row))
            shaded(image, (x * density, row, x * density + 1, row + wide * density), 0.5, 0.7)
            x += 160
        shaded(image, (0, row - 0.25 * density, image.width, row + 0.3 * density), max(0.5, 0.16 * density), 0.8)
        z += wide
    return image


@lru_cache(maxsize=8)
def _wall(k: float, colour: Colour) -> Image.Image:
    density = max(0.6, 1.6 * k)
    return plaster(Random("wall"), (round(700 * density), round(330 * density)), colour)


def window_light(stage: Stage, x: float, y: float, wide: float, high: float, strength: float) -> None:
    """The window's light on the far wall: six panes, slanting."""
    for col in range(3):
        for row in range(2):
            left, top = x + col * wide / 3, y - row * high / 2
            right, low = left + wide / 3 * 0.86, top - high / 2 * 0.88
            slant = high * 0.16
            panes: list[Point3] = [
                (left, top - slant * (left - x) / wide, FAR), (right, top - slant * (right - x) / wide, FAR),
                (right, low - slant * (right - x) / wide, FAR), (left, low - slant * (left - x) / wide, FAR),
            ]  # fmt: skip
            stage.glow([stage.at(p) for p in panes], 2.6 * stage.scale_at(panes[0]), strength, (255, 232, 190))


def _bench_behind(stage: Stage, rng: Random) -> None:
    """Out of focus at the wall: a plank shelf with tins and jars, planks leaning in the corner."""
    timber = Timber("pine scrubbed", max(0.6, 2 * stage.k), 5)
    near = FAR + 18
    for x in (104, 117, 132, 143, 158, 176):
        high, wide = rng.uniform(150, 230), rng.uniform(10, 15)
        lean = rng.uniform(8, 20)
        tone = rng.uniform(0.45, 0.72)
        stage.face(
            [(x + lean, high, FAR + 2), (x + lean + wide, high, FAR + 2), (x + wide, 0, near), (x, 0, near)],
            lit(timber.board(high, wide, upright=True), [[tone, tone * 0.86], [tone * 0.8, tone * 0.6]]),
        )
        stage.edge((x + lean, high, FAR + 2), (x, 0, near), 0.8, (255, 240, 214), 0.22)
    level = 104.0
    shelf: list[Point3] = [(-250, level, near), (-96, level, near), (-96, level - 4, near), (-250, level - 4, near)]
    stage.dark([(-250, level - 4, FAR), (-90, level - 4, FAR), (-84, level - 32, FAR), (-240, level - 28, FAR)], 7, 0.4)
    x = -228.0
    tins: list[tuple[float, float, Colour]] = [
        (13, 15, (120, 112, 98)), (9, 19, (98, 70, 42)), (15, 12, (72, 86, 80)), (8, 22, (150, 128, 88)),
        (12, 16, (132, 120, 104)), (10, 10, (110, 60, 44)), (9, 24, (84, 92, 84)), (14, 13, (140, 128, 108)),
    ]  # fmt: skip
    for wide, high, colour in tins:
        body = Image.new("RGB", (40, 40), tinted(colour, 0.9))
        body = lit(body, [[0.55, 0.95, 0.62, 0.32, 0.40], [0.5, 0.85, 0.55, 0.26, 0.34]])
        quad: list[Point3] = [
            (x, level + high, near - 4), (x + wide, level + high, near - 4), (x + wide, level, near - 4), (x, level, near - 4)
        ]  # fmt: skip
        stage.dark([(x + 3, level + high, FAR), (x + wide + 5, level + high, FAR), (x + wide + 5, level, FAR), (x + 3, level, FAR)], 4, 0.35)
        stage.face(quad, body)
        stage.edge((x + 1, level + high, near - 4), (x + wide - 1, level + high, near - 4), 0.7, (255, 248, 232), 0.3)
        x += wide + rng.uniform(2.5, 7)
    stage.face(shelf, lit(timber.board(154, 4), [[0.82, 0.6], [0.55, 0.42]]))


def workshop(stage: Stage, *, wall: Colour = (150, 146, 134), brightness: float = 0.9, window: bool = True, seed: int = 3) -> None:
    """The corner where pieces are photographed: limewashed wall, old boards, light from a window on the left."""
    k, b = stage.k, brightness
    stage.face(
        [(-350, 330, FAR), (350, 330, FAR), (350, 0, FAR), (-350, 0, FAR)],
        lit(_wall(k, wall), [[b * 0.72, b * 0.86, b * 0.62, b * 0.42], [b * 0.92, b, b * 0.72, b * 0.48], [b * 0.7, b * 0.74, b * 0.56, b * 0.38]]),
    )
    if window:
        window_light(stage, -70, 215, 120, 120, 0.16)
    stage.face(
        [(-310, 0, FAR), (310, 0, FAR), (310, 0, 285), (-310, 0, 285)],
        lit(_boards(k, seed), [[b * 0.62, b * 0.6, b * 0.42], [b * 0.96, b * 0.92, b * 0.62], [b * 0.7, b * 0.66, b * 0.46]]),
    )
    stage.dark([(-350, 6, FAR), (350, 6, FAR), (350, 0, FAR + 12), (-350, 0, FAR + 12)], 7, 0.5)
    skirting: list[Point3] = [(-350, 15, FAR + 2), (350, 15, FAR + 2), (350, 0, FAR + 2), (-350, 0, FAR + 2)]
    stage.face(skirting, lit(Image.new("RGB", (64, 16), tinted(wall, 0.82)), [[b * 0.9, b * 0.5], [b * 0.66, b * 0.36]]))
    stage.edge((-350, 15, FAR + 2), (350, 15, FAR + 2), 0.9, (255, 246, 226), 0.25)
    _bench_behind(stage, Random(seed))
    blurred = stage.image.filter(ImageFilter.GaussianBlur(5.5 * k))
    # the wall is well out of focus, the floor comes into focus towards the piece
    horizon = stage.at((0, 0, FAR))[1] / stage.size[1]
    column = Image.new("L", (1, 40))
    column.putdata([
        255 if y / 40 < horizon - 0.02 else max(0, round(255 * (1 - (y / 40 - horizon) / 0.12))) for y in range(40)
    ])  # fmt: skip
    stage.image = Image.composite(blurred, stage.image, column.resize(stage.size, Image.Resampling.BILINEAR))


def dust_sheet(stage: Stage, left: float, right: float, back: float, front: float, brightness: float = 0.9, seed: int = 2) -> None:
    """A canvas sheet on the floor, its edges not quite straight."""
    rng = Random(seed)
    k = max(0.6, 3.2 * stage.k)
    cloth = canvas(rng, (round((right - left) * k), round((front - back) * k)), (176, 164, 142), 6)
    outline: list[Point3] = []

    def side(a: tuple[float, float], b: tuple[float, float], count: int) -> None:
        phase = rng.random() * 6
        for i in range(count):
            t = i / count
            sway = 1.3 * sin(phase + t * 2 * pi * 1.1) + 0.5 * sin(phase * 2 + t * 17)
            outline.append((a[0] + (b[0] - a[0]) * t + (sway if a[0] == b[0] else 0), 0.3,
                            a[1] + (b[1] - a[1]) * t + (sway if a[1] == b[1] else 0)))  # fmt: skip

    inset = 4
    l, r, f, n = left + inset, right - inset, back + inset, front - inset
    side((l, f), (r, f), 20)
    side((r, f), (r, n), 14)
    side((r, n), (l, n), 24)
    side((l, n), (l, f), 14)
    stage.dark([(x + 1.5, 0, z + 2) for x, _, z in outline], 2.2, 0.55)
    b = brightness
    stage.face(
        [(left, 0.3, back), (right, 0.3, back), (right, 0.3, front), (left, 0.3, front)],
        lit(cloth, [[b * 0.72, b * 0.68, b * 0.5], [b, b * 0.94, b * 0.66], [b * 0.86, b * 0.8, b * 0.56]]),
        outline,
    )


def grounded(stage: Stage, left: float, right: float, back: float, front: float, strength: float = 1.0, away: float = 30) -> None:
    """The shadows of something that stands on the floor: broad to the right, close and dark where it touches."""
    floor = 0.4
    stage.dark(
        [(left + 4, floor, back - 6), (right + away, floor, back - 10), (right + away * 1.1, floor, front - 2), (left + 6, floor, front + 5)],
        9, 0.42 * strength,
    )  # fmt: skip
    stage.dark([(left - 1, floor, back), (right + 8, floor, back), (right + 9, floor, front + 3), (left, floor, front + 4)], 3.4, 0.5 * strength)
    stage.dark([(left, floor, back), (right + 1, floor, back), (right + 1, floor, front + 1), (left, floor, front + 1)], 1.0, 0.7 * strength)


def halo(stage: Stage, centre: tuple[float, float], reach: float, strength: float, colour: Colour) -> None:
    """Lamp light: a broad round glow about a point of the picture (shares of its size)."""
    small = Image.radial_gradient("L").resize((256, 256))
    small = small.point([round(255 * strength * max(0.0, 1 - i / 180) ** 2) for i in range(256)])
    size = (round(reach * stage.size[0] * 2), round(reach * stage.size[0] * 2))
    glow = small.resize(size, Image.Resampling.BILINEAR)
    layer = Image.new("L", stage.size, 0)
    layer.paste(glow, (round(centre[0] * stage.size[0] - size[0] / 2), round(centre[1] * stage.size[1] - size[1] / 2)))
    tint = Image.merge("RGB", [layer.point([round(i * c / 255) for i in range(256)]) for c in colour])
    stage.image = ImageChops.screen(stage.image, tint)


def disc(stage: Stage, centre: Point3, radius: float, steps: int = 36) -> list[Point3]:
    """A circle lying flat at a height, as points of the room."""
    return [(centre[0] + radius * sin(2 * pi * i / steps), centre[1], centre[2] + radius * sin(2 * pi * i / steps + pi / 2)) for i in range(steps)]


def line_on(image: Image.Image, points: list[tuple[float, float]], width: int, colour: Colour) -> None:
    """A plain smooth line on a texture."""
    ImageDraw.Draw(image).line(points, fill=colour, width=width, joint="curve")
