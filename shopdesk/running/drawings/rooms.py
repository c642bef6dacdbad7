"""Where pieces stand: a quiet corner of the workshop, a bench top, the spray booth."""

from __future__ import annotations

from functools import lru_cache
from math import pi, sin
from random import Random

from PIL import Image, ImageChops, ImageFilter

from .geometry import Point3, end_on, lying, upright
from .grain import Colour, Timber, canvas, cloud, plaster, tinted
from .joinery import shaded
from .stage import Stage, lit

FAR = -115.0  # the wall


@lru_cache(maxsize=4)
def _boards(k: float) -> Image.Image:
    """620 x 400 cm of old floor boards, running across."""
    density = max(1.0, 4.2 * k)
    timber = Timber("floor", density, 3, "pine", spread=0.14)
    image = Image.new("RGB", (round(620 * density), round(400 * density)))
    rng, z = Random(3), 0.0
    while z < 400:
        wide = rng.uniform(13, 17)
        row, x = round(z * density), -rng.uniform(0, 160)
        while x < 620:
            board = timber.board(160, wide)
            image.paste(board, (round(x * density), row))
            shaded(image, (x * density, row, x * density + 1, row + wide * density), 0.5, 0.7)
            x += 160
        shaded(
            image, (0, row - 0.25 * density, image.width, row + 0.3 * density), max(0.5, 0.16 * density), 0.8
        )
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
                (left, top - slant * (left - x) / wide, FAR),
                (right, top - slant * (right - x) / wide, FAR),
                (right, low - slant * (right - x) / wide, FAR),
                (left, low - slant * (left - x) / wide, FAR),
            ]
            stage.glow(
                [stage.at(p) for p in panes], 2.6 * stage.scale_at(panes[0]), strength, (255, 232, 190)
            )


def _bench_behind(stage: Stage, rng: Random) -> None:
    """Out of focus at the wall: a plank shelf with tins and jars, planks leaning in the corner."""
    timber = Timber("pine scrubbed", max(0.6, 2 * stage.k), 5, stock=(234, 56))
    near = FAR + 18
    for foot in (104, 117, 132, 143, 158, 176):
        high, wide = rng.uniform(150, 230), rng.uniform(10, 15)
        lean = rng.uniform(8, 20)
        tone = rng.uniform(0.45, 0.72)
        stage.face(
            [
                (foot + lean, high, FAR + 2),
                (foot + lean + wide, high, FAR + 2),
                (foot + wide, 0, near),
                (foot, 0, near),
            ],
            lit(timber.board(high, wide, upright=True), [[tone, tone * 0.86], [tone * 0.8, tone * 0.6]]),
        )
        stage.edge((foot + lean, high, FAR + 2), (foot, 0, near), 0.8, (255, 240, 214), 0.22)
    level = 104.0
    shelf: list[Point3] = upright(-250, -96, level - 4, level, near)
    stage.dark(
        [(-250, level - 4, FAR), (-90, level - 4, FAR), (-84, level - 32, FAR), (-240, level - 28, FAR)],
        7,
        0.4,
    )
    x = -228.0
    tins: list[tuple[float, float, Colour]] = [
        (13, 15, (120, 112, 98)),
        (9, 19, (98, 70, 42)),
        (15, 12, (72, 86, 80)),
        (8, 22, (150, 128, 88)),
        (12, 16, (132, 120, 104)),
        (10, 10, (110, 60, 44)),
        (9, 24, (84, 92, 84)),
        (14, 13, (140, 128, 108)),
    ]
    for wide, high, colour in tins:
        body = Image.new("RGB", (40, 40), tinted(colour, 0.9))
        body = lit(body, [[0.55, 0.95, 0.62, 0.32, 0.40], [0.5, 0.85, 0.55, 0.26, 0.34]])
        quad: list[Point3] = upright(x, x + wide, level, level + high, near - 4)
        stage.dark(
            upright(x + 3, x + wide + 5, level, level + high, FAR),
            4,
            0.35,
        )
        stage.face(quad, body)
        stage.edge(
            (x + 1, level + high, near - 4), (x + wide - 1, level + high, near - 4), 0.7, (255, 248, 232), 0.3
        )
        x += wide + rng.uniform(2.5, 7)
    stage.face(shelf, lit(timber.board(154, 4), [[0.82, 0.6], [0.55, 0.42]]))


def workshop(
    stage: Stage,
    *,
    wall: Colour = (150, 146, 134),
    brightness: float = 0.9,
    window: bool = True,
    seed: int = 3,
) -> None:
    """The corner where pieces are photographed: limewashed wall, old boards, light from a window on the
    left."""
    k, b = stage.k, brightness
    stage.face(
        upright(-350, 350, 0, 330, FAR),
        lit(
            _wall(k, wall),
            [
                [b * 0.72, b * 0.86, b * 0.62, b * 0.42],
                [b * 0.92, b, b * 0.72, b * 0.48],
                [b * 0.7, b * 0.74, b * 0.56, b * 0.38],
            ],
        ),
    )
    if window:
        window_light(stage, -70, 215, 120, 120, 0.16)
    stage.face(
        lying(-310, 310, FAR, 285, 0),
        lit(
            _boards(k),
            [[b * 0.62, b * 0.6, b * 0.42], [b * 0.96, b * 0.92, b * 0.62], [b * 0.7, b * 0.66, b * 0.46]],
        ),
    )
    stage.dark([(-350, 6, FAR), (350, 6, FAR), (350, 0, FAR + 12), (-350, 0, FAR + 12)], 7, 0.5)
    skirting: list[Point3] = upright(-350, 350, 0, 15, FAR + 2)
    stage.face(
        skirting,
        lit(Image.new("RGB", (64, 16), tinted(wall, 0.82)), [[b * 0.9, b * 0.5], [b * 0.66, b * 0.36]]),
    )
    stage.edge((-350, 15, FAR + 2), (350, 15, FAR + 2), 0.9, (255, 246, 226), 0.25)
    _bench_behind(stage, Random(seed))
    blurred = stage.image.filter(ImageFilter.GaussianBlur(5.5 * k))
    # the wall is well out of focus, the floor comes into focus towards the piece
    horizon = stage.at((0, 0, FAR))[1] / stage.size[1]
    column = Image.new("L", (1, 40))
    column.putdata(
        [
            255 if y / 40 < horizon - 0.02 else max(0, round(255 * (1 - (y / 40 - horizon) / 0.12)))
            for y in range(40)
        ]
    )
    stage.image = Image.composite(blurred, stage.image, column.resize(stage.size, Image.Resampling.BILINEAR))


def dust_sheet(
    stage: Stage, left: float, right: float, back: float, front: float, brightness: float = 0.9, seed: int = 2
) -> None:
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
            outline.append(
                (
                    a[0] + (b[0] - a[0]) * t + (sway if a[0] == b[0] else 0),
                    0.3,
                    a[1] + (b[1] - a[1]) * t + (sway if a[1] == b[1] else 0),
                )
            )

    inset = 4
    west, east, far, near = left + inset, right - inset, back + inset, front - inset
    side((west, far), (east, far), 20)
    side((east, far), (east, near), 14)
    side((east, near), (west, near), 24)
    side((west, near), (west, far), 14)
    stage.dark([(x + 1.5, 0, z + 2) for x, _, z in outline], 2.2, 0.55)
    b = brightness
    stage.face(
        lying(left, right, back, front, 0.3),
        lit(cloth, [[b * 0.72, b * 0.68, b * 0.5], [b, b * 0.94, b * 0.66], [b * 0.86, b * 0.8, b * 0.56]]),
        outline,
    )


def grounded(
    stage: Stage,
    left: float,
    right: float,
    back: float,
    front: float,
    strength: float = 1.0,
    away: float = 30,
) -> None:
    """The shadows of something that stands on the floor: broad to the right, close and dark where it
    touches."""
    floor = 0.4
    stage.dark(
        [
            (left + 4, floor, back - 6),
            (right + away, floor, back - 10),
            (right + away * 1.1, floor, front - 2),
            (left + 6, floor, front + 5),
        ],
        9,
        0.42 * strength,
    )
    stage.dark(
        [
            (left - 1, floor, back),
            (right + 8, floor, back),
            (right + 9, floor, front + 3),
            (left, floor, front + 4),
        ],
        3.4,
        0.5 * strength,
    )
    stage.dark(
        lying(left, right + 1, back, front + 1, floor),
        1.0,
        0.7 * strength,
    )


def halo(stage: Stage, centre: tuple[float, float], reach: float, strength: float, colour: Colour) -> None:
    """Lamp light: a broad round glow about a point of the picture (shares of its size)."""
    small = Image.radial_gradient("L").resize((256, 256))
    small = small.point([round(255 * strength * max(0.0, 1 - i / 180) ** 2) for i in range(256)])
    size = (round(reach * stage.size[0] * 2), round(reach * stage.size[0] * 2))
    glow = small.resize(size, Image.Resampling.BILINEAR)
    layer = Image.new("L", stage.size, 0)
    layer.paste(
        glow, (round(centre[0] * stage.size[0] - size[0] / 2), round(centre[1] * stage.size[1] - size[1] / 2))
    )
    tint = Image.merge("RGB", [layer.point([round(i * c / 255) for i in range(256)]) for c in colour])
    stage.image = ImageChops.screen(stage.image, tint)


def booth(stage: Stage, brightness: float = 0.95) -> None:
    """The spray booth: pale walls of filters, brown paper on the floor, a lamp on its stand from the left."""
    k, b, rng = stage.k, brightness, Random("booth")
    density = max(0.6, 1.6 * k)
    wall = plaster(rng, (round(700 * density), round(330 * density)), (186, 184, 176))
    for x in range(0, 700, 50):
        shaded(wall, (x * density, 0, (x + 1.6) * density, wall.height), 0.6 * density, 0.5, (96, 94, 90))
        shaded(
            wall, ((x + 1.6) * density, 0, (x + 6) * density, wall.height), 2 * density, 0.16, (120, 116, 110)
        )
    for y in range(10, 330, 50):
        shaded(wall, (0, y * density, wall.width, (y + 1.4) * density), 0.6 * density, 0.42, (96, 94, 90))
    mist = cloud(rng, wall.size, (9, 5), 4)
    wall.paste((124, 100, 78), (0, 0), mist.point([max(0, round((i - 120) * 0.55)) for i in range(256)]))
    stage.face(
        upright(-350, 350, 0, 330, FAR),
        lit(
            wall,
            [
                [b * 0.62, b * 0.66, b * 0.5, b * 0.36],
                [b * 0.96, b * 0.92, b * 0.66, b * 0.46],
                [b * 0.72, b * 0.7, b * 0.52, b * 0.36],
            ],
        ),
    )
    paper = plaster(rng, (round(620 * density), round(400 * density)), (158, 126, 88))
    for x in (150, 330, 480):
        shaded(paper, (x * density, 0, (x + 0.8) * density, paper.height), 0.4 * density, 0.5, (92, 70, 46))
    overspray = cloud(rng, paper.size, (6, 5), 4)
    paper.paste((84, 60, 42), (0, 0), overspray.point([max(0, round((i - 126) * 0.8)) for i in range(256)]))
    stage.face(
        lying(-310, 310, FAR, 285, 0),
        lit(
            paper,
            [[b * 0.62, b * 0.6, b * 0.42], [b * 0.98, b * 0.9, b * 0.6], [b * 0.74, b * 0.66, b * 0.44]],
        ),
    )
    stage.dark([(-350, 7, FAR), (350, 7, FAR), (350, 0, FAR + 14), (-350, 0, FAR + 14)], 8, 0.5)
    lamp: Point3 = (-96, 112, -62)
    for start, end, wide in (
        ((-96, 112, -62), (-96, 4, -62), 1.1),
        ((-96, 30, -62), (-116, 0, -50), 0.9),
        ((-96, 30, -62), (-78, 0, -52), 0.9),
        ((-96, 30, -62), (-96, 0, -84), 0.9),
    ):
        a, c = stage.at(start), stage.at(end)
        half = wide * stage.scale_at(start)
        steel = lit(Image.new("RGB", (12, 40), (74, 72, 68)), [[0.9, 0.4]])
        stage.flat(
            [(a[0] - half, a[1]), (a[0] + half, a[1]), (c[0] + half, c[1]), (c[0] - half, c[1])], steel
        )
    housing: list[Point3] = [(-115, 122, -58), (-77, 120, -58), (-77, 98, -58), (-115, 99, -58)]
    stage.face(housing, lit(Image.new("RGB", (40, 30), (58, 56, 52)), [[0.9, 0.6], [0.6, 0.4]]))
    tube: list[Point3] = [(-112, 119, -57), (-80, 117, -57), (-80, 101, -57), (-112, 102, -57)]
    stage.glow([stage.at(p) for p in tube], 5 * k, 1.0, (255, 240, 206))
    stage.image = stage.image.filter(ImageFilter.GaussianBlur(3.4 * k))
    at = stage.at(lamp)
    halo(stage, (at[0] / stage.size[0], at[1] / stage.size[1]), 0.42, 0.62, (255, 228, 178))


def blocks(stage: Stage, places: list[tuple[float, float]], high: float, brightness: float = 0.9) -> None:
    """Offcuts of pine that a piece stands on, each seen from the front, at (x, z) of its middle."""
    timber = Timber("pine scrubbed", max(0.6, 9 * stage.k), 11, stock=(40, 30), sheets=1)
    half = 6.0
    for x, z in places:
        b = brightness * (1.0 if z > 0 else 0.5)
        stage.dark(
            [
                (x - half, 0.3, z - half),
                (x + half + 9, 0.3, z - half - 3),
                (x + half + 9, 0.3, z + 3),
                (x - half, 0.3, z + half + 1),
            ],
            1.6,
            0.7,
        )
        stage.face(
            end_on(x + half, z + half, z - half, 0, high),
            lit(timber.board(12, high), [[b * 0.4] * 2, [b * 0.32] * 2]),
        )
        stage.face(
            upright(x - half, x + half, 0, high, z + half),
            lit(timber.board(12, high), [[b * 0.5, b * 0.44], [b * 0.94, b * 0.8], [b * 0.7, b * 0.6]]),
        )
