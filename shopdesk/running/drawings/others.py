"""What other people ask for: a library's card-file cabinet, and a mirror for an entrance hall."""

from __future__ import annotations

import itertools
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from . import joinery as work
from .geometry import Point3, end_on, lying, upright
from .grain import Colour, Timber, cloud, coloured
from .joinery import shaded
from .stage import PALE, Stage, lit


def _pull(d: float, labelled: bool, rng: Random) -> Image.Image:
    """A brass label frame with its finger pull, RGBA, 7 x 5.6 cm."""
    over = 3
    w, h = round(7 * d * over), round(5.6 * d * over)
    image = Image.new("RGBA", (w, h), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    s = d * over
    tone = rng.uniform(0.8, 1.1)
    brass: Colour = (round(150 * tone), round(116 * tone), round(62 * tone))
    lip: Colour = (round(208 * tone), round(172 * tone), round(106 * tone))
    deep: Colour = (60, 44, 22)
    frame = (0.5 * s, 0.3 * s, 6.5 * s, 3.3 * s)
    pen.rounded_rectangle(frame, 0.35 * s, fill=brass, outline=deep, width=max(1, round(0.06 * s)))
    pen.line(
        (frame[0] + 0.3 * s, frame[1] + 0.1 * s, frame[2] - 0.3 * s, frame[1] + 0.1 * s),
        fill=lip,
        width=max(1, round(0.1 * s)),
    )
    card = (frame[0] + 0.45 * s, frame[1] + 0.45 * s, frame[2] - 0.45 * s, frame[3] - 0.45 * s)
    if labelled:
        fade = rng.uniform(0.82, 1.02)
        pen.rectangle(card, fill=(round(214 * fade), round(198 * fade), round(160 * fade)))
        x = card[0] + 0.7 * s
        while x < card[2] - 1.0 * s:  # a word or two in faded ink, too small to read
            wide = rng.uniform(0.2, 0.6) * s
            y = card[1] + 0.9 * s + rng.uniform(-0.08, 0.08) * s
            pen.line(
                (x, y, x + wide, y + rng.uniform(-0.1, 0.1) * s),
                fill=(84, 72, 70),
                width=max(1, round(0.13 * s)),
            )
            x += wide + 0.24 * s
    else:
        pen.rectangle(card, fill=(52, 36, 22))
    pen.rectangle((card[0], card[1], card[2], card[1] + 0.16 * s), fill=(44, 32, 18))
    cup = (2.0 * s, 3.0 * s, 5.0 * s, 5.3 * s)
    pen.pieslice(
        (cup[0], cup[1] - 1.6 * s, cup[2], cup[3]),
        0,
        180,
        fill=brass,
        outline=deep,
        width=max(1, round(0.06 * s)),
    )
    pen.arc(
        (cup[0] + 0.2 * s, cup[1] - 1.4 * s, cup[2] - 0.2 * s, cup[3] - 0.3 * s),
        20,
        160,
        fill=deep,
        width=max(1, round(0.3 * s)),
    )
    pen.arc(
        (cup[0] + 0.3 * s, cup[1] - 1.5 * s, cup[2] - 0.3 * s, cup[3] - 0.62 * s),
        50,
        130,
        fill=lip,
        width=max(1, round(0.16 * s)),
    )
    return image.resize((max(2, w // over), max(2, h // over)), Image.Resampling.LANCZOS)


def card_cabinet(stage: Stage, density: float, brightness: float = 1.0) -> None:
    """Thirty card drawers of oak on a stand, one drawer gone, labels lost, the top stained."""
    timber, rng, b, d = (
        Timber("oak tired", density, 7, stock=(165, 70)),
        Random("cabinet"),
        brightness,
        density,
    )
    half, z, low, high = 47.0, 22.0, 40.0, 108.0
    for x, zz in ((-half + 3, -z + 3), (half - 3, -z + 3), (-half + 3, z - 3), (half - 3, z - 3)):
        stage.dark(
            [(x - 3, 0.2, zz - 3), (x + 20, 0.2, zz - 9), (x + 21, 0.2, zz - 3), (x - 2, 0.2, zz + 4)],
            2,
            0.66,
        )
        stage.dark(
            [
                (x - 3, 0.2, zz - 3),
                (x + 3.6, 0.2, zz - 3),
                (x + 3.6, 0.2, zz + 3.6),
                (x - 3.2, 0.2, zz + 3.6),
            ],
            0.8,
            0.8,
        )
    # the stand: far legs first
    for x, zz, tone in ((-half + 4, -z + 4, 0.4), (half - 4, -z + 4, 0.36)):
        leg = timber.board(low, 5.4, upright=True)
        stage.face(
            upright(x - 2.7, x + 2.7, 0, low, zz),
            lit(leg, [[b * tone * 0.5] * 2, [b * tone] * 2]),
        )
    rail = timber.board(2 * half - 8, 4)
    stage.face(
        upright(-half + 4, half - 4, 10, 14, -z + 5),
        lit(rail, [[b * 0.5] * 2, [b * 0.4] * 2]),
    )
    for x in (-half + 4, half - 4):
        side_rail = timber.board(2 * z - 8, 4)
        stage.face(
            end_on(x, z - 4, -z + 4, 10, 14),
            lit(side_rail, [[b * 0.5] * 2, [b * 0.3] * 2]),
        )
    shelf = timber.board(2 * half - 8, 2 * z - 8)
    stage.face(
        lying(-half + 4, half - 4, -z + 4, z - 4, 14),
        lit(shelf, [[b * 0.22, b * 0.18], [b * 0.6, b * 0.46]]),
    )
    stage.face(
        upright(-half + 4, half - 4, 10.5, 14, z - 4),
        lit(timber.board(2 * half - 8, 3.5), [[b * 0.86, b * 0.7], [b * 0.56, b * 0.46]]),
    )
    for x in (-half + 3, half - 3):
        for tone, corners in (
            (0.42, end_on(x + 3, z, z - 6, 0, low)),
            (0.9, upright(x - 3, x + 3, 0, low, z)),
        ):
            stage.face(
                corners,
                lit(
                    timber.board(low, 6, upright=True),
                    [[b * tone * 0.6] * 2, [b * tone, b * tone * 0.9], [b * tone * 0.8, b * tone * 0.7]],
                ),
            )
        stage.edge((x - 3, low, z), (x - 3, 0, z), 0.3, PALE, 0.26)
    apron = timber.board(2 * half, 7)
    stage.face(
        upright(-half, half, low - 7, low, z),
        lit(apron, [[b * 0.5] * 2, [b * 0.82, b * 0.7]]),
    )
    stage.face(
        end_on(half, z, -z, low - 7, low),
        lit(timber.board(2 * z, 7), [[b * 0.3] * 2, [b * 0.4] * 2]),
    )

    # the body: its side, then the front with its drawers
    side = timber.board(high - low, 2 * z, upright=True)
    work.raised(side, d, (6, 6, 2 * z - 6, high - low - 6), 0.5, 0.9)
    work.grime(side, rng, (3, 4), 0.7)
    stage.face(
        end_on(half, z, -z, low, high),
        lit(side, [[b * 0.44, b * 0.5], [b * 0.46, b * 0.5], [b * 0.34, b * 0.36]]),
    )
    front = timber.board(2 * half, high - low)
    columns, rows, frame = 5, 6, 3.0
    cell_x, cell_y = (2 * half - 2 * frame) / columns, (high - low - 2 * frame) / rows
    for row in range(rows):
        for col in range(columns):
            left, top = frame + col * cell_x + 0.5, frame + row * cell_y + 0.5
            right, bottom = left + cell_x - 1.0, top + cell_y - 1.0
            if (row, col) == (3, 1):
                front.paste(
                    (20, 14, 10), (round(left * d), round(top * d), round(right * d), round(bottom * d))
                )
                shaded(
                    front, (left * d, (bottom - 1.6) * d, right * d, bottom * d), 0.5 * d, 0.5, (96, 70, 42)
                )
                shaded(front, (left * d, top * d, (left + 3) * d, bottom * d), 1.0 * d, 0.8)
                continue
            ajar = 0.5 if (row, col) in ((1, 3), (4, 4)) else 0.0
            work.drawer_front(front, timber, (left, top, right, bottom), bead=0.34, gap=0.3, sag=ajar)
            pull = _pull(d, rng.random() > 0.14, rng)
            px, py = round(((left + right) / 2 - 3.5) * d), round(((top + bottom) / 2 - 3.0 + ajar) * d)
            if (row, col) == (5, 2):
                work.empty_hole(front, d, (left + right) / 2 - 2.4, (top + bottom) / 2, 0.5)
                work.empty_hole(front, d, (left + right) / 2 + 2.4, (top + bottom) / 2, 0.5)
                shaded(front, (px + d, py + 0.3 * d, px + 6 * d, py + 3.3 * d), 0.3 * d, 0.24, (60, 34, 14))
                continue
            shaded(front, (px + 0.8 * d, py + 0.7 * d, px + 6.8 * d, py + 3.8 * d), 0.3 * d, 0.6)
            shaded(front, (px + 2.3 * d, py + 3.4 * d, px + 5.4 * d, py + 5.9 * d), 0.4 * d, 0.55)
            front.paste(pull, (px, py), pull)
    work.grime(front, rng, (6, 5), 0.75)
    work.scratches(front, d, rng, 30, 7, 90)
    work.faded(front, (0, 40 * d, 18 * d, 70 * d), 7 * d, 0.2)
    stage.face(
        upright(-half, half, low, high, z),
        lit(front, [[b * 0.66, b * 0.6], [b * 0.96, b * 0.82], [b * 0.94, b * 0.78], [b * 0.72, b * 0.6]]),
    )
    stage.edge((half, high, z), (half, low, z), 0.3, PALE, 0.3)
    stage.edge((-half, low, z), (half, low, z), 0.35, PALE, 0.3)
    # the top
    over, thick = 2.4, 3.0
    stage.dark([(-half, high, z), (half, high, z), (half, high - 2.6, z), (-half, high - 2.0, z)], 0.9, 0.6)
    tx, tz = half + over, z + over
    stage.face(
        upright(-tx, tx, high, high + thick, tz),
        lit(
            timber.board(2 * tx, thick),
            [[b, b * 0.86], [b * 0.78, b * 0.68], [b * 0.82, b * 0.7], [b * 0.36, b * 0.3]],
        ),
    )
    stage.face(
        end_on(tx, tz, -tz, high, high + thick),
        lit(timber.board(2 * tz, thick), [[b * 0.62] * 2, [b * 0.4] * 2, [b * 0.24] * 2]),
    )
    surface = timber.board(2 * tx, 2 * tz)
    work.grime(surface, rng, (6, 3), 1.0)
    work.water_ring(surface, d, rng, 30, tz, 7)
    work.scratches(surface, d, rng, 40, 12)
    stage.face(
        lying(-tx, tx, -tz, tz, high + thick),
        lit(surface, [[b * 0.92, b * 0.74], [b, b * 0.84]]),
    )
    stage.edge((-tx, high + thick, tz), (tx, high + thick, tz), 0.3, PALE, 0.46)


def mirror(stage: Stage, density: float, brightness: float = 1.0) -> None:
    """A hall mirror leaning on the wall: a broad mahogany frame opened at a mitre, a length of its moulding
    gone."""
    b, d, rng = brightness, density, Random("mirror")
    timber = Timber("mahogany tired", density, 8)
    wide, high, broad, slip = 84.0, 122.0, 12.5, 1.6
    glass_w, glass_h = wide - 2 * broad, high - 2 * broad
    face = Image.new("RGB", (round(wide * d), round(high * d)), (24, 18, 14))

    # the glass: the dim room, a window, foxing at its edges
    size = (round(glass_w * d), round(glass_h * d))
    glass = coloured(
        cloud(rng, size, (3, 3), 3), ((0, (70, 76, 76)), (0.5, (112, 116, 112)), (1, (146, 146, 138)))
    )
    glass = lit(glass, [[0.96, 0.82, 0.6], [0.9, 0.78, 0.56], [0.66, 0.56, 0.42], [0.36, 0.3, 0.26]])
    w, h = size
    panes = Image.new("L", size, 0)
    pen = ImageDraw.Draw(panes)
    for col in range(2):
        for row in range(3):
            x, y = w * (0.50 + col * 0.17), h * (0.10 + row * 0.15)
            pen.polygon(
                [(x, y), (x + w * 0.15, y + h * 0.012), (x + w * 0.15, y + h * 0.142), (x, y + h * 0.13)],
                fill=235,
            )
    glass.paste((236, 236, 226), (0, 0), panes.filter(ImageFilter.GaussianBlur(1.0 * d)))
    shaded(glass, (-w * 0.1, h * 0.74, w * 1.1, h * 1.1), 3 * d, 0.5, (66, 50, 38))
    foxing = cloud(rng, size, (30, 44), 4).point([min(235, max(0, (i - 148) * 8)) for i in range(256)])
    margin = ImageChops.invert(
        work.soft(size, [("box", (w * 0.09, h * 0.06, w * 0.91, h * 0.94), 255)], 3.5 * d)
    )
    glass.paste((46, 40, 34), (0, 0), ImageChops.multiply(foxing, margin))
    face.paste(glass, (round(broad * d), round(broad * d)))

    # four mouldings, mitred: each drawn lying, lit by its section, turned into place
    def moulding(length: float, lamp: float, turn: int) -> Image.Image:
        stick = timber.board(length, broad)
        section = [
            (0.0, 0.50),
            (0.05, 1.0),
            (0.12, 0.92),
            (0.16, 0.36),
            (0.20, 0.86),
            (0.42, 0.98),
            (0.62, 0.66),
            (0.70, 0.40),
            (0.74, 0.94),
            (0.80, 0.80),
            (0.84, 0.30),
            (0.87, 0.7),
            (1.0, 0.6),
        ]
        values = []
        for y in range(stick.height):
            t = y / stick.height
            for (t0, v0), (t1, v1) in itertools.pairwise(section):
                if t0 <= t <= t1:
                    flat = v0 + (v1 - v0) * (t - t0) / (t1 - t0)
                    values.append(
                        round(255 * min(1.0, (flat if turn in (0, 1) else 1.24 - flat * 0.8) * lamp))
                    )
                    break
        column = Image.new("L", (1, len(values)))
        column.putdata(values)
        stick = ImageChops.multiply(stick, Image.merge("RGB", [column.resize(stick.size)] * 3))
        gilt = round((broad - slip) * d)
        gold = coloured(
            cloud(rng, (stick.width, stick.height - gilt), (length / 3, 2), 3),
            ((0, (74, 50, 22)), (0.45, (150, 112, 54)), (1, (208, 170, 98))),
        )
        stick.paste(gold, (0, gilt))
        shaded(stick, (0, gilt - 0.12 * d, stick.width, gilt + 0.1 * d), 0.1 * d, 0.7)
        work.scratches(stick, d, rng, 8, 6)
        return stick

    pieces = [
        (moulding(wide, 1.0, 0), 0, (0.0, 0.0)),
        (moulding(high, 0.98, 1), 90, (0.0, 0.0)),
        (moulding(wide, 0.82, 2), 180, (0.0, high - broad)),
        (moulding(high, 0.74, 3), 270, (wide - broad, 0.0)),
    ]
    for stick, turn, (x, y) in pieces:
        mitred = Image.new("L", stick.size, 0)
        ImageDraw.Draw(mitred).polygon(
            [
                (0, 0),
                (stick.width, 0),
                (stick.width - stick.height, stick.height),
                (stick.height, stick.height),
            ],
            fill=255,
        )
        face.paste(
            stick.rotate(turn, expand=True), (round(x * d), round(y * d)), mitred.rotate(turn, expand=True)
        )
    inner = (broad * d, broad * d, (wide - broad) * d, (high - broad) * d)
    shaded(face, (inner[0], inner[1], inner[2], inner[1] + 0.8 * d), 0.6 * d, 0.6)
    shaded(face, (inner[0], inner[1], inner[0] + 0.8 * d, inner[3]), 0.6 * d, 0.5)
    # the mitre lines; the lower right one has opened
    for (x0, y0), (x1, y1), gap in (
        ((0, 0), (broad, broad), 0.10),
        ((wide, 0), (wide - broad, broad), 0.10),
        ((0, high), (broad, high - broad), 0.12),
        ((wide, high), (wide - broad, high - broad), 0.55),
    ):
        work.daub(
            face, (10, 6, 4), [("line", (max(1.0, gap * d), x0 * d, y0 * d, x1 * d, y1 * d), 235)], 0.08 * d
        )
    # a length of the outer moulding gone on the left, raw pine under it
    raw = Timber("pine scrubbed", d, 8, stock=(60, 20), sheets=1).board(24, 2.5, upright=True)
    raw = lit(raw, [[0.95, 0.8], [0.9, 0.74]])
    work.grime(raw, rng, (2, 5), 0.8, (70, 48, 30))
    face.paste(raw, (0, round(64 * d)))
    shaded(face, (2.5 * d, 64 * d, 2.9 * d, 88 * d), 0.16 * d, 0.8)
    for y in (64.0, 88.0):
        shaded(face, (0, y * d - 1, 2.5 * d, y * d + 1), 0.1 * d, 0.9)
    work.chipped(face, d, rng, [(50, 4.0, 0.9), (78, 40, 0.7), (30, high - 5, 0.8)], (164, 112, 76))
    work.grime(face, rng, (5, 6), 0.4)

    foot_z, head_z = -74.0, -100.0
    half = wide / 2
    rise = (high**2 - (foot_z - head_z) ** 2) ** 0.5
    wall_z = -114.0
    stage.dark(
        [
            (-half + 6, rise + 4, wall_z),
            (half + 22, rise - 4, wall_z),
            (half + 34, 0, wall_z),
            (-half + 4, 0, wall_z),
        ],
        9,
        0.55,
    )
    stage.dark(
        [
            (-half, 0.3, wall_z),
            (half + 34, 0.3, wall_z),
            (half + 14, 0.3, foot_z + 2),
            (-half, 0.3, foot_z + 3),
        ],
        4,
        0.6,
    )
    stage.dark(
        lying(-half - 1, half + 2, foot_z - 3, foot_z + 2.4, 0.3),
        1.0,
        0.85,
    )
    corners: list[Point3] = [
        (-half, rise, head_z),
        (half, rise, head_z),
        (half, 0.4, foot_z),
        (-half, 0.4, foot_z),
    ]
    thick = 4.0
    stage.face(
        [corners[1], (half, rise, head_z - thick), (half, 0.4, foot_z - thick), corners[2]],
        lit(timber.board(high, thick, upright=True), [[b * 0.3] * 2, [b * 0.26] * 2]),
    )
    stage.face(corners, lit(face, [[b, b * 0.92], [b, b * 0.88], [b * 0.86, b * 0.74]]))
    stage.edge(corners[0], corners[1], 0.4, PALE, 0.4)
    stage.edge(corners[0], corners[3], 0.4, PALE, 0.3)
