"""What is photographed from near: the damaged top, the drawer with its ink, the finished corner."""

from __future__ import annotations

from math import cos, pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from . import joinery as work
from .geometry import Point3, end_on, lying, upright
from .grain import Size, Timber, cloud, glued_up
from .joinery import shaded
from .rooms import halo, workshop
from .stage import PALE, Stage, lit


def damaged_top(size: Size) -> Stage:
    """The front edge of the old top: veneer lifting and gone, a glass's ring, the tired leather behind."""
    stage = Stage(size, (7, 46, 56), (3.5, 0, 0.0), 1.26)
    k, rng = stage.k, Random("damaged top")
    d = 28 * k
    timber = Timber("walnut tired", d, 4, stock=(104, 36), sheets=1)
    wide, deep, band = 96.0, 62.0, 33.0  # cm; the band is the walnut between edge and leather
    surface = Image.new("RGB", (round(wide * d), round(deep * d)))
    surface.paste(
        glued_up(timber, wide, band, 2).resize((surface.width, round(band * d))),
        (0, surface.height - round(band * d)),
    )
    hide = work.worn_leather(rng, (surface.width, round((deep - band) * d)), d)
    surface.paste(hide, (0, 0))
    edge = (deep - band) * d
    shaded(surface, (0, edge - 0.35 * d, surface.width, edge + 0.1 * d), 0.18 * d, 0.75)
    for off, colour, w in ((1.5, (168, 138, 76), 0.26), (2.4, (146, 118, 64), 0.12)):
        pen_y = edge - off * d
        worn = cloud(rng, (surface.width, max(4, round(w * d))), (46, 2), 2).point(
            [min(230, max(0, (i - 86) * 5)) for i in range(256)]
        )
        surface.paste(colour, (0, round(pen_y)), worn)
    work.faded(
        surface, (surface.width * 0.62, -200 * k, surface.width * 1.1, surface.height * 0.9), 6 * d, 0.26
    )
    work.grime(surface, rng, (8, 6), 0.55)
    work.scratches(surface, d, rng, 110, 11, 110)
    work.water_ring(surface, d, rng, 37.0, deep - 15.5, 4.4, 1.0)
    work.water_ring(surface, d, rng, 45.2, deep - 18.4, 4.3, 0.5)
    work.chipped(surface, d, rng, [(71.5, deep - 20, 0.2), (74.6, deep - 1.2, 0.5)], (170, 136, 98))

    # the veneer that is gone: raw ground, old glue in combed lines, a broken edge
    gone = [
        (53.0, deep + 1),
        (54.2, deep - 3.0),
        (56.4, deep - 4.2),
        (57.0, deep - 6.1),
        (60.2, deep - 5.4),
        (62.6, deep - 7.4),
        (65.4, deep - 5.2),
        (66.0, deep - 2.8),
        (67.8, deep - 1.6),
        (68.2, deep + 1),
    ]
    ground = Timber("pine scrubbed", d, 4, stock=(24, 12), sheets=1).board(20, 10)
    ground = ImageChops.multiply(ground, Image.new("RGB", ground.size, (214, 188, 150)))
    combed = [
        ("line", (max(1.0, 0.16 * d), 0, y * d, ground.width, (y + 0.2) * d), 120)
        for y in (0.8, 1.6, 2.5, 3.3, 4.2, 5.0, 5.9, 6.7, 7.6)
    ]
    ground.paste(
        (116, 78, 40),
        (0, 0),
        ImageChops.multiply(work.soft(ground.size, combed, 0.06 * d), cloud(rng, ground.size, (16, 8), 3)),
    )
    work.grime(ground, rng, (6, 4), 0.9, (70, 48, 30))
    cover = work.soft(surface.size, [("poly", [v * d for p in gone for v in p], 255)], max(0.4, 0.03 * d))
    sheet = Image.new("RGB", surface.size)
    sheet.paste(ground.resize((round(20 * d), round(10 * d))), (round(50.5 * d), round((deep - 8.6) * d)))
    surface.paste(sheet, (0, 0), cover)
    rim = [v * d for p in gone for v in p]
    thick = work.soft(surface.size, [("line", (0.5 * d, *rim), 235)], 0.12 * d)
    surface.paste((12, 8, 5), (0, 0), ImageChops.multiply(thick, cover))
    bright = work.soft(
        surface.size,
        [("line", (max(1.0, 0.12 * d), *[v - (0.08 * d if i % 2 else 0) for i, v in enumerate(rim)]), 210)],
        0.03 * d,
    )
    surface.paste((206, 168, 122), (0, 0), ImageChops.multiply(bright, ImageChops.invert(cover)))

    front = 17.0
    corners: list[Point3] = lying(-wide / 2, wide / 2, front - deep, front, 0)
    below: list[Point3] = upright(-wide / 2, wide / 2, -3.4, 0, front)
    stage.image.paste((34, 30, 27), (0, 0, *size))
    stage.face(
        [below[3], below[2], (wide / 2, -30, front - 4), (-wide / 2, -30, front - 4)],
        lit(timber.board(wide, 26), [[0.16, 0.10], [0.62, 0.42], [0.66, 0.42], [0.5, 0.3]]),
    )
    stage.face(corners, lit(surface, [[0.78, 0.9, 0.62], [1.0, 1.0, 0.76], [0.98, 0.92, 0.66]]))
    edge_board = timber.board(wide, 3.4)
    work.chipped(edge_board, d, rng, [(20, 0.9, 0.7), (82, 1.4, 0.5)], (170, 136, 98))
    stage.face(
        below, lit(edge_board, [[0.98, 0.9, 0.66], [0.7, 0.66, 0.5], [0.72, 0.66, 0.5], [0.24, 0.2, 0.16]])
    )
    stage.edge(below[0], (4.6, 0, front), 0.16, PALE, 0.5)
    stage.edge((20.4, 0, front), below[1], 0.16, PALE, 0.4)

    # a tongue of veneer still held at its root, sprung up off the ground
    root, tip, steps = (-2.0, front - 0.6), (14.0, front - 2.6), 14

    def tongue(side: float) -> list[Point3]:
        line: list[Point3] = []
        for i in range(steps + 1):
            t = i / steps
            x, z = root[0] + (tip[0] - root[0]) * t, root[1] + (tip[1] - root[1]) * t
            half = 2.0 * (1 - 0.35 * t) + 0.16 * sin(t * 13 + side)
            line.append((x, 0.06 + 2.9 * t**2.2 + (0.25 * t if side < 0 else 0), z + side * half))
        return line

    far, near = tongue(-1.0), tongue(1.0)
    ground_shadow = [(x + 0.5 * y, 0.02, z + 0.25 * y) for x, y, z in far[6:]] + [
        (x + 0.8 * y, 0.02, z + 0.45 * y) for x, y, z in near[:5:-1]
    ]
    stage.dark(ground_shadow, 0.5, 0.85, corners)
    stage.dark(
        [(p[0], p[1] - 0.5, p[2]) for p in near[4:]] + [(p[0], 0.0, front) for p in near[4:][::-1]], 0.4, 0.7
    )
    flap = timber.board(17, 4.2).convert("RGBA")  # grows out of the surface at its root
    flap.putalpha(
        Image.linear_gradient("L").rotate(90).point([min(255, i * 5) for i in range(256)]).resize(flap.size)
    )
    stage.ribbon(far, near, lit(flap, [[0.86, 0.9, 1.0, 1.0, 0.9], [0.9, 0.96, 1.0, 1.0, 0.96]]))
    for i in range(3, steps):
        stage.edge(
            (near[i][0], near[i][1] - 0.06, near[i][2]),
            (near[i + 1][0], near[i + 1][1] - 0.06, near[i + 1][2]),
            0.1,
            (226, 186, 138),
            0.75,
        )
    stage.edge(far[-1], near[-1], 0.1, (226, 186, 138), 0.5)
    tip_x, tip_y = far[-1][0], far[-1][1]
    for i, reach in enumerate((1.5, 0.5, 2.2, 0.9)):  # splinters where it tore
        z_0, z_1 = (far[-1][2] + (near[-1][2] - far[-1][2]) * v for v in (i / 4, (i + 1) / 4))
        splinter: list[Point3] = [
            (tip_x - 0.1, tip_y, z_0),
            (tip_x + reach, tip_y + 0.2 * reach, z_0 + 0.3),
            (tip_x + reach * 0.8, tip_y + 0.2 * reach, z_0 + 0.5),
            (tip_x - 0.1, tip_y, z_1),
        ]
        stage.face(splinter, lit(timber.board(2.4, 0.9), [[0.96, 1.0], [0.96, 1.0]]))
    shine = [stage.at(p) for p in ((-34, 0, -30), (-12, 0, -34), (-6, 0, 4), (-26, 0, 6))]
    stage.glow(shine, 90 * k, 0.20, (228, 224, 214), [stage.at(p) for p in corners])
    stage.defocus([1, 0.7, 0.3, 0.0, 0.0, 0.0, 0.0, 0.1, 0.4], 7)
    return stage


def inked_drawer(size: Size) -> Stage:
    """A drawer taken out and set on the bench: dovetails, dust in its corners, ink on its bottom."""
    stage = Stage(size, (9, 74, 50), (0.6, 0, 1.5), 1.12)
    k, rng = stage.k, Random("drawer")
    d = 26 * k
    bench = glued_up(Timber("pine scrubbed", 16 * k, 6, stock=(154, 40), sheets=1), 150, 100, 5)
    work.grime(bench, rng, (9, 7), 1.0, (64, 46, 30))
    work.scratches(bench, 16 * k, rng, 70, 16, 120)
    work.blot(bench, 16 * k, rng, 26, 72, 3.2, (140, 96, 60))
    stage.face(
        lying(-75, 75, -55, 45, 0),
        lit(bench, [[0.5, 0.62, 0.42], [0.78, 0.7, 0.44], [0.62, 0.54, 0.36]]),
    )
    half, deep, high, wall = 23.0, 19.0, 11.0, 1.5
    stage.dark(
        [
            (-half, 0, -deep),
            (half + 10, 0, -deep - 6),
            (half + 12, 0, deep - 1),
            (half, 0, deep + 3),
            (-half, 0, deep + 4),
        ],
        3.4,
        0.75,
    )
    stage.dark(
        [
            (-half - 0.6, 0, -deep),
            (half + 1.4, 0, -deep),
            (half + 1.4, 0, deep + 1.6),
            (-half - 0.6, 0, deep + 1.2),
        ],
        0.9,
        0.85,
    )

    inside = Timber("shellacked inside", d, 5, "oak", stock=(60, 40), sheets=1)
    x, z = half - wall, deep - wall
    bottom = glued_up(inside, 2 * x, 2 * z, 3)
    work.grime(bottom, rng, (5, 4), 0.8, (60, 42, 26))
    work.scratches(bottom, d, rng, 30, 6, 80)
    work.blot(bottom, d, rng, 2 * x * 0.36, 2 * z * 0.52, 7.4, (34, 42, 92))
    work.blot(bottom, d, rng, 2 * x * 0.66, 2 * z * 0.74, 1.6, (52, 56, 84))
    ring = Image.new("L", bottom.size, 0)
    pen = ImageDraw.Draw(ring)
    cx, cy, r = bottom.width * 0.72, bottom.height * 0.34, 2.7 * d
    pen.ellipse((cx - r, cy - r, cx + r, cy + r), outline=150, width=max(1, round(0.26 * d)))
    ring = ImageChops.multiply(
        ring.filter(ImageFilter.GaussianBlur(0.1 * d)),
        cloud(rng, bottom.size, (16, 13), 2).point([min(255, max(40, (i - 60) * 3)) for i in range(256)]),
    )
    bottom.paste((30, 32, 56), (0, 0), ring)
    w, h = bottom.size
    shaded(bottom, (-2 * d, 0, 3.4 * d, h), 2.4 * d, 0.72)
    shaded(bottom, (0, -2 * d, w, 1.6 * d), 1.6 * d, 0.6)
    shaded(bottom, (w - 0.8 * d, 0, w + d, h), 0.8 * d, 0.6)
    shaded(bottom, (0, h - 0.6 * d, w, h + d), 0.7 * d, 0.55)
    floor = 1.6
    stage.face(
        lying(-x, x, -z, z, floor),
        lit(bottom, [[0.62, 0.8, 0.9], [0.72, 0.96, 1.0], [0.6, 0.86, 0.92]]),
    )

    # inner faces that the camera sees: back, left, right
    back = inside.board(2 * x, high - floor)
    stage.face(
        upright(-x, x, floor, high, -z),
        lit(back, [[0.7, 0.92, 0.96], [0.46, 0.66, 0.72], [0.3, 0.42, 0.46]]),
    )
    left = inside.board(2 * z, high - floor)
    stage.face(
        end_on(-x, deep, -z, floor, high),
        lit(left, [[0.5, 0.42], [0.3, 0.26], [0.2, 0.18]]),
    )
    right = inside.board(2 * z, high - floor)
    stage.face(
        end_on(x, -z, deep, floor, high),
        lit(right, [[0.9, 0.98], [0.8, 0.9], [0.5, 0.6]]),
    )
    # top edges: back, sides, then the front board with its lap
    fronted = Timber("walnut tired", d, 5, stock=(60, 20), sheets=1)
    stage.face(
        lying(-half, half, -deep, -z, high),
        lit(inside.board(2 * half, wall), [[0.9, 0.86], [0.95, 0.9]]),
    )
    for x0, x1, tone in ((-half, -x, 0.98), (x, half, 0.92)):
        stage.face(
            lying(x0, x1, -deep, deep, high),
            lit(inside.board(2 * deep, wall, upright=True), [[tone * 0.9] * 2, [tone] * 2]),
        )
    lip, over = deep + 2.2, 0.8
    stage.face(
        lying(-half - over, half + over, deep, lip, high),
        lit(fronted.board(2 * (half + over), 2.2), [[0.9, 0.98, 0.8], [1.0, 1.0, 0.86]]),
    )
    stage.dark(
        lying(-half - over, half + over, deep - 0.05, deep + 0.12, high),
        0.08,
        0.8,
    )
    front = fronted.board(2 * (half + over), high)
    work.raised(front, d, (0.4, 0.4, 2 * (half + over) - 0.4, high - 0.4), 0.55)
    stage.face(
        upright(-half - over, half + over, 0, high, lip),
        lit(front, [[0.8, 0.76, 0.6], [0.56, 0.54, 0.42]]),
    )
    stage.edge((-half - over, high, lip), (half + over, high, lip), 0.22, PALE, 0.6)
    for x0 in (-half, x):  # pins and tails where the sides meet the back, seen from above as end grain
        for z0 in (-deep,):
            stage.face(
                lying(x0, x0 + wall, z0, z0 + wall, high + 0.01),
                lit(inside.board(wall, wall), [[0.66, 0.7], [0.7, 0.74]]),
            )
            stage.edge(
                (x0, high + 0.02, z0 + wall), (x0 + wall, high + 0.02, z0 + wall), 0.1, (20, 12, 8), 0.1
            )
    for x0 in (-x, x):
        stage.edge((x0, high, -z), (x0, high, z), 0.14, PALE, 0.35)
    stage.edge((-x, high, -z), (x, high, -z), 0.14, PALE, 0.4)
    # knobs on the front, seen from above
    for x0 in (-12.6, 12.6):
        at = stage.at((x0, high * 0.6, lip + 2.2))
        r2 = 1.55 * stage.scale_at((x0, high * 0.6, lip + 2.2))
        stage.dark_flat(
            [
                (at[0] + r2 * (cos(t * pi / 8) * 0.9 + 0.35), at[1] + r2 * (sin(t * pi / 8) * 0.9 + 0.5))
                for t in range(16)
            ],
            r2 * 0.3,
            0.6,
        )
        knob = work.ball(work.BRASS_DULL, 0.32, 256).resize(
            (max(2, round(r2 * 2)),) * 2, Image.Resampling.LANCZOS
        )
        stage.image.paste(knob, (round(at[0] - r2), round(at[1] - r2)), knob)
    stage.defocus([0.5, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1, 0.4, 0.8], 5)
    return stage


def finished_corner(size: Size) -> Stage:
    """A corner of the finished top: figure, stringing, the satin sheen running to the window."""
    stage = Stage(size, (-16, 100, 47), (0.5, 73, -3), 1.5)
    k = stage.k
    workshop(stage, brightness=0.86)
    stage.image = stage.image.filter(ImageFilter.GaussianBlur(16 * k))
    d = 26 * k
    timber = Timber("walnut toned", d, 6, stock=(104, 60), sheets=1)
    high, wide, deep, band = 76.0, 100.0, 60.0, 9.5
    surface = glued_up(timber, wide, deep, 4)
    size_px = (round(wide * d), round(deep * d))
    surface = surface.resize(size_px)
    surface.paste(timber.board(wide, band), (0, round((deep - band) * d)))
    end = timber.board(deep, band, upright=True)
    cover = Image.new("L", end.size, 0)
    ImageDraw.Draw(cover).polygon(
        [(0, 0), (end.width, 0), (end.width, end.height), (0, end.height - end.width)], fill=255
    )
    surface.paste(end, (size_px[0] - end.width, 0), cover.filter(ImageFilter.GaussianBlur(0.6)))
    inner = (-5.0, -5.0, wide - band, deep - band)
    work.stringing(surface, d, inner, 0.3, (34, 22, 16))
    work.stringing(surface, d, (inner[0], inner[1], inner[2] - 0.42, inner[3] - 0.42), 0.2, (206, 172, 120))
    x1, z1 = 17.0, 9.0
    x0, z0 = x1 - wide, z1 - deep
    corners: list[Point3] = lying(x0, x1, z0, z1, high)
    stage.face(
        upright(x0, x1 - 3, 20, high - 3.4, z1 - 3),
        lit(timber.board(wide, 56), [[0.10, 0.10], [0.5, 0.36], [0.44, 0.3]]),
    )
    stage.face(corners, lit(surface, [[0.8, 0.92, 0.86], [0.94, 1.0, 0.92], [1.0, 1.0, 0.9]]))
    thick = 3.4
    stage.face(
        upright(x0, x1, high - thick, high, z1),
        lit(
            timber.board(wide, thick),
            [[1, 1, 0.9], [0.72, 0.74, 0.66], [0.84, 0.84, 0.74], [0.26, 0.26, 0.22]],
        ),
    )
    flat = [stage.at(p) for p in corners]
    # the window lies in the satin finish: broad, soft, broken a little by the pores
    for a, b, strength in ((-44, -22, 0.36), (-18, -2, 0.30)):
        panes = [
            stage.at(p) for p in ((a, high, z0), (b, high, z0), (b + 5, high, z1 - 3), (a + 6, high, z1 - 3))
        ]
        stage.glow(panes, 62 * k, strength, (232, 222, 204), flat)
    stage.glow(
        [stage.at(p) for p in ((x0, high, z0), (x1, high, z0), (x1, high, z0 + 16), (x0, high, z0 + 16))],
        70 * k,
        0.42,
        (214, 210, 200),
        flat,
    )
    stage.edge((x0, high, z1), (x1 - 0.3, high, z1), 0.22, (255, 236, 206), 0.85)
    stage.edge((x1, high, z1), (x1, high, z0), 0.2, (255, 236, 206), 0.55)
    at = stage.at((x1 - 0.2, high - 0.1, z1))
    stage.glow(
        [
            (at[0] - 5 * k, at[1] - 4 * k),
            (at[0] + 5 * k, at[1] - 4 * k),
            (at[0] + 5 * k, at[1] + 5 * k),
            (at[0] - 5 * k, at[1] + 5 * k),
        ],
        7 * k,
        0.9,
        (255, 240, 216),
    )
    stage.defocus([1, 1, 0.9, 0.6, 0.25, 0.0, 0.0, 0.0, 0.3, 0.7], 12)
    halo(stage, (0.12, 0.05), 0.55, 0.30, (255, 232, 196))
    return stage
