"""What is worked into a flat face before it stands in the room: drawers, hardware, inlay, wear and damage.

Every function paints on a texture of `density` pixels a centimetre; lengths are centimetres from its top
left corner.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache
from math import cos, pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from .grain import BILINEAR, Colour, Size, Timber, cloud, coloured, tinted

Box = tuple[float, float, float, float]


def soft(size: Size, shapes: Sequence[tuple[str, Sequence[float], int]], blur: float) -> Image.Image:
    """A mask of blurred shapes: ("box" | "disc" | "line" | "poly", numbers, strength)."""
    cover = Image.new("L", size, 0)
    pen = ImageDraw.Draw(cover)
    for kind, numbers, strength in shapes:
        if kind == "box":
            pen.rectangle(list(numbers), fill=strength)
        elif kind == "disc":
            pen.ellipse(list(numbers), fill=strength)
        elif kind == "line":
            pen.line(list(numbers[1:]), fill=strength, width=max(1, round(numbers[0])), joint="curve")
        else:
            pen.polygon(list(numbers), fill=strength)
    return cover.filter(ImageFilter.GaussianBlur(blur)) if blur > 0.2 else cover


def daub(
    image: Image.Image, colour: Colour, shapes: Sequence[tuple[str, Sequence[float], int]], blur: float
) -> None:
    """Paint blurred shapes (see `soft`) in a colour, working only where they are."""
    left = top = 1e9
    right = bottom = -1e9
    for kind, numbers, _ in shapes:
        spots = numbers[1:] if kind == "line" else numbers
        pad = blur * 3 + 2 + (numbers[0] if kind == "line" else 0)
        left, right = min(left, min(spots[0::2]) - pad), max(right, max(spots[0::2]) + pad)
        top, bottom = min(top, min(spots[1::2]) - pad), max(bottom, max(spots[1::2]) + pad)
    x0, y0 = max(0, int(left)), max(0, int(top))
    x1, y1 = min(image.width, int(right) + 1), min(image.height, int(bottom) + 1)
    if x1 <= x0 or y1 <= y0:
        return
    moved = []
    for kind, numbers, strength in shapes:
        head = [numbers[0]] if kind == "line" else []
        spots = numbers[1:] if kind == "line" else numbers
        moved.append((kind, head + [v - (y0 if i % 2 else x0) for i, v in enumerate(spots)], strength))
    image.paste(colour, (x0, y0), soft((x1 - x0, y1 - y0), moved, blur))


def shaded(image: Image.Image, box: Box, blur: float, strength: float, colour: Colour = (14, 9, 6)) -> None:
    """Darken (or tint) a box softly, in pixels."""
    pad = blur * 3 + 1
    left, top = max(0, int(box[0] - pad)), max(0, int(box[1] - pad))
    right, bottom = min(image.width, int(box[2] + pad) + 1), min(image.height, int(box[3] + pad) + 1)
    if right <= left or bottom <= top:
        return
    inner = (box[0] - left, box[1] - top, box[2] - left, box[3] - top)
    if inner[2] < inner[0] or inner[3] < inner[1]:
        return
    image.paste(
        colour, (left, top), soft((right - left, bottom - top), [("box", inner, round(255 * strength))], blur)
    )


@lru_cache(maxsize=16)
def ball(colour: Colour, shine: float, size: int = 96) -> Image.Image:
    """A turned knob seen from the front, RGBA: lit from the upper left, a window in its upper side, a rim of
    bounce."""
    picture = Image.new("RGBA", (size, size))
    pixels: list[tuple[int, int, int, int]] = []
    for row in range(size):
        for col in range(size):
            x, y = (col + 0.5) / size * 2 - 1, (row + 0.5) / size * 2 - 1
            far = x * x + y * y
            if far > 1:
                pixels.append((*colour, 0))
                continue
            z = (1 - far) ** 0.5
            facing = max(0.0, -0.5 * x - 0.62 * y + 0.6 * z)
            bounce = 0.22 * max(0.0, y) ** 2 * (1 - z)
            window = 1.0 if (x + 0.36) ** 2 * 1.3 + (y + 0.42) ** 2 < 0.05 else 0.0
            halo = max(0.0, 1 - ((x + 0.34) ** 2 + (y + 0.40) ** 2) / 0.45) ** 2
            dark = 0.7 if shine > 0.5 and 0.05 < y < 0.34 else 1.0
            body = (0.16 + 0.88 * facing) * dark + bounce
            glint = shine * (0.55 * halo + 0.75 * window)
            red, green, blue = (min(255, round(part * body + 255 * glint)) for part in colour)
            pixels.append((red, green, blue, 255))
    picture.putdata(pixels)
    return picture


BRASS_DULL: Colour = (120, 94, 54)
BRASS: Colour = (196, 150, 74)
WOODEN: Colour = (92, 60, 38)


def knob(
    image: Image.Image, density: float, x: float, y: float, radius: float, colour: Colour, shine: float
) -> None:
    """A knob with its rose and its shadow on the face."""
    px, py, pr = x * density, y * density, radius * density
    drop = pr * 0.75
    shaded(image, (px - pr * 0.5, py - pr * 0.3, px + pr * 1.5, py + pr * 1.9), max(0.8, pr * 0.42), 0.62)
    rose = max(3, round(pr * 2.7))
    image.paste(
        tinted(colour, 0.55),
        (round(px - rose / 2), round(py - rose / 2)),
        soft((rose * 4, rose * 4), [("disc", (0, 0, rose * 4 - 1, rose * 4 - 1), 255)], 0).resize(
            (rose, rose)
        ),
    )
    size = max(3, round(pr * 2))
    sprite = ball(colour, shine).resize((size, size), Image.Resampling.LANCZOS)
    image.paste(sprite, (round(px - size / 2 + drop * 0.05), round(py - size / 2)), sprite)


def escutcheon(image: Image.Image, density: float, x: float, y: float, colour: Colour) -> None:
    """A keyhole plate."""
    d = density
    w, h = max(3, round(1.5 * d)), max(4, round(2.4 * d))
    plate = soft((w * 4, h * 4), [("disc", (0, 0, w * 4 - 1, h * 4 - 1), 255)], 0).resize(
        (w, h), Image.Resampling.LANCZOS
    )
    left, top = round(x * d - w / 2), round(y * d - h / 2)
    shaded(image, (left + 1, top + 1, left + w + 1, top + h + 2), max(0.6, d * 0.12), 0.5)
    metal = Image.linear_gradient("L").resize((w, h)).point([255 - i // 2 for i in range(256)])
    image.paste(
        ImageChops.multiply(Image.merge("RGB", [metal] * 3), Image.new("RGB", (w, h), colour)),
        (left, top),
        plate,
    )
    pen = ImageDraw.Draw(image)
    r = max(1.0, 0.26 * d)
    pen.ellipse((x * d - r, y * d - 0.5 * d - r, x * d + r, y * d - 0.5 * d + r), fill=(12, 9, 6))
    pen.polygon(
        [
            (x * d - r * 0.4, y * d - 0.5 * d),
            (x * d + r * 0.4, y * d - 0.5 * d),
            (x * d + r * 0.8, y * d + 0.6 * d),
            (x * d - r * 0.8, y * d + 0.6 * d),
        ],
        fill=(12, 9, 6),
    )


def empty_hole(image: Image.Image, density: float, x: float, y: float, radius: float) -> None:
    """Where a knob is missing: a clean disc of unfaded finish about a dark hole."""
    d = density
    box = ((x - radius) * d, (y - radius) * d, (x + radius) * d, (y + radius) * d)
    daub(image, (34, 20, 12), [("disc", box, 120)], max(0.5, d * 0.08))
    hole = [x * d - 0.45 * d, y * d - 0.45 * d, x * d + 0.45 * d, y * d + 0.45 * d]
    lip = (hole[0], hole[1] + 0.14 * d, hole[2], hole[3] + 0.14 * d)
    daub(image, (168, 128, 90), [("disc", lip, 110)], max(0.3, d * 0.06))
    daub(image, (6, 4, 3), [("disc", hole, 255)], max(0.3, d * 0.05))


def raised(image: Image.Image, density: float, box: Box, width: float, strength: float = 1.0) -> None:
    """A bead about a box: light on its upper and left sides, shade on its lower and right, an inner line."""
    left, top, right, bottom = (v * density for v in box)
    w = max(1, round(width * density))
    for first, last in (((left, bottom), (left, top)), ((left, top), (right, top))):
        daub(image, (236, 200, 156), [("line", (w, *first, *last), round(95 * strength))], w * 0.35)
    for first, last in (((left, bottom), (right, bottom)), ((right, bottom), (right, top))):
        daub(image, (16, 9, 5), [("line", (w, *first, *last), round(150 * strength))], w * 0.35)
    inner = [left + w * 1.2, top + w * 1.2, right - w * 1.2, bottom - w * 1.2]
    corners = [
        (inner[0], inner[3]),
        (inner[0], inner[1]),
        (inner[2], inner[1]),
        (inner[2], inner[3]),
        (inner[0], inner[3]),
    ]
    for side, power in enumerate((120, 120, 40, 40)):
        wide = max(1, w // 2) if side < 2 else 1
        daub(
            image,
            (16, 9, 5),
            [("line", (wide, *corners[side], *corners[side + 1]), round(power * strength))],
            w * 0.3,
        )


def drawer_front(
    face: Image.Image, timber: Timber, box: Box, *, bead: float = 0.5, gap: float = 0.28, sag: float = 0.0
) -> None:
    """Set a drawer's front into a face: a dark gap about it, its own board, a bead round its edge.

    `sag` opens the gap at the top, as a runner worn down does.
    """
    d = timber.density
    left, top, right, bottom = box
    shaded(
        face,
        ((left - gap) * d, (top - gap) * d, (right + gap) * d, (bottom + gap) * d),
        max(0.4, gap * d * 0.3),
        0.96,
    )
    board = timber.board(right - left, bottom - top - sag)
    curve = (
        Image.linear_gradient("L")
        .resize(board.size, BILINEAR)
        .point([255 - round(i * 0.16) for i in range(256)])
    )
    board = ImageChops.multiply(board, Image.merge("RGB", [curve] * 3))
    if bead:
        raised(board, d, (bead / 2, bead / 2, right - left - bead / 2, bottom - top - sag - bead / 2), bead)
    face.paste(board, (round(left * d), round((top + sag) * d)))
    # the rail above throws its shadow on the drawer
    shaded(face, (left * d, (top + sag) * d, right * d, (top + sag + 0.5) * d), max(0.5, 0.45 * d), 0.34)


# -- wear and damage
# ---------------------------------------------------------------------------------------------
def scratches(
    image: Image.Image, density: float, rng: Random, count: int, longest: float, strength: int = 90
) -> None:
    """Fine pale scratches, each with a darker side."""
    for _ in range(count):
        x, y = rng.random() * image.width, rng.random() * image.height
        turn, length = rng.gauss(0.25, 0.5), (rng.random() ** 2 * longest + 0.6) * density
        x2, y2 = x + cos(turn) * length, y + sin(turn) * length
        power = rng.randrange(strength // 3, strength)
        daub(image, (20, 13, 9), [("line", (1, x, y + 1, x2, y2 + 1), power // 2)], 0.5)
        daub(image, (214, 190, 160), [("line", (1, x, y, x2, y2), power)], 0.45)


def grime(
    image: Image.Image,
    rng: Random,
    cells: tuple[float, float],
    strength: float,
    colour: Colour = (22, 15, 11),
) -> None:
    """Dirt in clouds."""
    cover = cloud(rng, image.size, cells, 4)
    image.paste(colour, (0, 0), cover.point([max(0, round((i - 120) * strength)) for i in range(256)]))


def faded(
    image: Image.Image, box: Box, blur: float, strength: float, colour: Colour = (208, 178, 136)
) -> None:
    """A sun-bleached patch, box and blur in pixels."""
    shaded(image, box, blur, strength, colour)


def water_ring(
    image: Image.Image, density: float, rng: Random, x: float, y: float, radius: float, strength: float = 1.0
) -> None:
    """A white bloom in the finish where a wet glass stood, uneven, with a second fainter ring."""
    d = density
    reach = round((radius + 1.2) * d)
    size = (reach * 2, reach * 2)
    cover = Image.new("L", size, 0)
    for shift, wide, power in ((0.0, 0.62, 190), (0.5, 0.3, 80)):
        ring = Image.new("L", (size[0] * 2, size[1] * 2), 0)
        outer, inner = (radius + shift) * d * 2, (radius + shift - wide) * d * 2
        c = reach * 2
        pen = ImageDraw.Draw(ring)
        pen.ellipse((c - outer, c - outer * 0.99, c + outer, c + outer), fill=power)
        pen.ellipse((c - inner, c - inner, c + inner, c + inner * 0.985), fill=12)
        cover = ImageChops.lighter(cover, ring.reduce(2).filter(ImageFilter.GaussianBlur(max(0.5, 0.10 * d))))
    broken = cloud(rng, size, (5, 5), 3).point([min(255, max(40, round((i - 40) * 1.7))) for i in range(256)])
    cover = ImageChops.multiply(cover, broken).point([round(i * strength) for i in range(256)])
    image.paste((226, 216, 200), (round(x * d) - reach, round(y * d) - reach), cover)


def blot(
    image: Image.Image, density: float, rng: Random, x: float, y: float, reach: float, colour: Colour
) -> None:
    """A spill of ink that soaked into bare wood: a dark edge, feathered along the grain, drops about it."""
    d = density
    size = (round(reach * 3.2 * d), round(reach * 2.4 * d))
    shapes: list[tuple[str, Sequence[float], int]] = []
    for _ in range(16):
        r = reach * d * rng.uniform(0.22, 0.52)
        cx = size[0] / 2 + rng.gauss(0, 0.34) * reach * d
        cy = size[1] / 2 + rng.gauss(0, 0.22) * reach * d
        shapes.append(("disc", (cx - r * 1.15, cy - r * 0.8, cx + r * 1.15, cy + r * 0.8), 255))
    for _ in range(22):
        r = reach * d * rng.random() ** 3 * 0.11 + 0.06 * d
        turn, far = rng.random() * 2 * pi, reach * d * rng.uniform(0.7, 1.3)
        cx, cy = size[0] / 2 + cos(turn) * far, size[1] / 2 + sin(turn) * far * 0.7
        shapes.append(("disc", (cx - r, cy - r * 0.9, cx + r, cy + r * 0.9), 210))
    body = soft(size, shapes, 0.35 * d)
    feather = cloud(rng, size, (4, size[1] / 3), 3)
    near = body.filter(ImageFilter.GaussianBlur(0.8 * d)).point([min(255, i * 6) for i in range(256)])
    feather = Image.composite(
        feather, Image.new("L", size, 40), near
    )  # it creeps along the grain only close by
    worn = ImageChops.add(body, feather, 1, -150).point([min(255, max(0, (i - 60) * 5)) for i in range(256)])
    worn = worn.filter(ImageFilter.GaussianBlur(max(0.4, 0.05 * d)))
    rim = ImageChops.subtract(
        worn, worn.filter(ImageFilter.GaussianBlur(0.3 * d)).point([round(i * 0.82) for i in range(256)])
    )
    strength = ImageChops.add(
        worn.point([round(i * 0.62) for i in range(256)]), rim.point([round(i * 0.9) for i in range(256)])
    )
    place = (round(x * d - size[0] / 2), round(y * d - size[1] / 2))
    region = image.crop((*place, place[0] + size[0], place[1] + size[1]))
    stained = ImageChops.multiply(region, Image.new("RGB", size, colour))
    image.paste(Image.composite(stained, region, strength), place)


def chipped(
    image: Image.Image,
    density: float,
    rng: Random,
    places: Sequence[tuple[float, float, float]],
    bare: Colour,
) -> None:
    """Chips out of the surface at (x, y, size): raw wood, a dark lip above, a light one below."""
    d = density
    for x, y, reach in places:
        corners = []
        for step in range(9):
            turn, far = step / 9 * 2 * pi, reach * d * rng.uniform(0.45, 1.05)
            corners += [x * d + cos(turn) * far * 1.5, y * d + sin(turn) * far * 0.7]
        below = [v + (0.07 * d if i % 2 else 0) for i, v in enumerate(corners)]
        inner = [
            x * d + (v - x * d) * 0.8 if i % 2 == 0 else y * d + (v - y * d) * 0.66 + 0.05 * d
            for i, v in enumerate(corners)
        ]
        daub(image, (226, 196, 160), [("poly", below, 130)], 0.5)
        daub(image, (22, 13, 8), [("poly", corners, 220)], 0.4)
        daub(image, bare, [("poly", inner, 215)], 0.5)


# -- inlay
# -------------------------------------------------------------------------------------------------------
def stringing(image: Image.Image, density: float, box: Box, width: float, colour: Colour) -> None:
    """A fine inlaid line round a box."""
    d = density
    left, top, right, bottom = (v * d for v in box)
    w = max(1.0, width * d)
    corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
    for first, last in itertools.pairwise(corners):
        daub(image, colour, [("line", (w, *first, *last), 230)], 0.5)


def worn_leather(rng: Random, size: Size, density: float) -> Image.Image:
    """An old leather writing surface: bottle green gone brown, rubbed through where the arms lay, cracked,
    stained."""
    hide = coloured(
        cloud(rng, size, (size[0] / density / 18, size[1] / density / 18), 5),
        ((0.1, (30, 33, 24)), (0.45, (58, 60, 42)), (0.62, (86, 78, 52)), (0.9, (134, 108, 74))),
    )
    tooth = cloud(rng, size, (size[0] / density * 3.2, size[1] / density * 3.2), 2)
    hide = ImageChops.multiply(
        hide, Image.merge("RGB", [tooth.point([176 + round(i * 0.31) for i in range(256)])] * 3)
    )
    rubbed = soft(
        size,
        [
            ("disc", (size[0] * 0.24, size[1] * 0.62, size[0] * 0.52, size[1] * 1.12), 150),
            ("disc", (size[0] * 0.55, size[1] * 0.66, size[0] * 0.80, size[1] * 1.1), 130),
        ],
        size[0] * 0.035,
    )
    torn = cloud(rng, size, (26, 14), 4).point([min(255, max(0, (i - 96) * 4)) for i in range(256)])
    hide.paste((158, 126, 88), (0, 0), ImageChops.multiply(rubbed, torn))
    scratches(hide, density, rng, 46, 16, 110)
    return hide


def sanding_dust(image: Image.Image, rng: Random, strength: float) -> None:
    """Pale dust lying in clouds on a surface."""
    cover = cloud(rng, image.size, (6, 5), 4).point([max(0, round((i - 90) * strength)) for i in range(256)])
    image.paste((226, 212, 190), (0, 0), cover)
