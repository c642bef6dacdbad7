"""The harbour office's writing desk: walnut, two pedestals of three drawers, a writing surface let into the top."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from . import joinery as work
from .grain import Colour, Timber, glued_up
from .joinery import BRASS, BRASS_DULL, shaded
from .stage import Point3, Stage, lit

# Half the top's length and depth, half the carcass', the kneehole's half width; heights of floor gap, carcass and top.
TOP_X, TOP_Z, BODY_X, BODY_Z, KNEE = 71.0, 36.5, 68.0, 33.5, 25.0
LOW, UNDER, HIGH = 8.0, 72.6, 76.0
PALE = (236, 204, 164)


@dataclass(frozen=True)
class State:
    """How far the work is: the finish on the timber and what is on, off, worn or covered."""

    finish: str
    hardware: bool = True
    worn: bool = False
    leather: bool = False
    drawers: bool = True
    dust: bool = False
    masked: bool = False
    sheen: float = 0.0
    raised: float = 0.0  # cm off the floor, on blocks
    brightness: float = 1.0


def _metal(state: State) -> tuple[Colour, float]:
    return (BRASS_DULL, 0.30) if state.worn else (BRASS, 0.85)


def drawer_row(face: Image.Image, timber: Timber, state: State, rng: Random, missing: int | None) -> None:
    """The three drawers of a pedestal's front."""
    d = timber.density
    wide = face.width / d
    top, left, right = 1.6, 2.2, wide - 2.2
    for number, high in enumerate((15.4, 18.4, 23.2)):
        box = (left, top, right, top + high)
        if not state.drawers:
            hollow = (left * d, top * d, right * d, (top + high) * d)
            face.paste((26, 20, 16), [round(v) for v in hollow])
            shaded(face, (left * d, (top + high - 2.2) * d, right * d, (top + high) * d), 0.5 * d, 0.35, (92, 70, 50))
            shaded(face, (hollow[0], hollow[1], hollow[2], hollow[1] + 5 * d), 1.6 * d, 0.75)
        else:
            sag = 0.35 if state.worn and number == 1 and missing is not None else 0.0
            work.drawer_front(face, timber, box, bead=0.55, sag=sag)
            middle = top + high / 2 + 0.2
            colour, shine = _metal(state)
            for place, share in enumerate((0.22, 0.78)):
                x = left + (right - left) * share
                gone = missing is not None and number == missing and place == 1
                if not state.hardware or gone:
                    work.empty_hole(face, d, x, middle, 1.5 if gone else 0.9)
                else:
                    work.knob(face, d, x, middle, 1.55, colour, shine)
            if state.hardware:
                work.escutcheon(face, d, (left + right) / 2, top + 3.6, colour)
            elif state.masked:
                pass
            else:
                work.empty_hole(face, d, (left + right) / 2, top + 3.6, 0.6)
        top += high + 1.5
    if state.worn:
        work.grime(face, rng, (4, 5), 0.75)
        work.scratches(face, d, rng, 26, 9, 90)


def _front(timber: Timber, state: State, wide: float, high: float, seed: int, missing: int | None) -> Image.Image:
    d = timber.density
    face = timber.board(high, wide, upright=True)
    drawer_row(face, timber, state, Random(f"front {seed}"), missing)
    shaded(face, (0, face.height - 1.5 * d, face.width, face.height), d, 0.4)
    work.raised(face, d, (0.15, -2, wide - 0.15, high + 2), 0.3, 0.6)
    return face


def _panelled(timber: Timber, wide: float, high: float) -> Image.Image:
    """An end: stiles, rails and a fielded panel."""
    d = timber.density
    face = timber.board(high, wide, upright=True)
    stile = 6.5
    panel = timber.board(high - 2 * stile - 1, wide - 2 * stile, upright=True)
    place = (round(stile * d), round(stile * d))
    face.paste(panel, place)
    box = (stile, stile, stile + panel.width / d, stile + panel.height / d)
    shaded(face, tuple(v * d for v in (box[0], box[1], box[2], box[1] + 0.7)), 0.35 * d, 0.6)  # type: ignore[arg-type]
    shaded(face, tuple(v * d for v in (box[0], box[1], box[0] + 0.7, box[3])), 0.35 * d, 0.5)  # type: ignore[arg-type]
    work.raised(face, d, (box[0] + 2.2, box[1] + 2.2, box[2] - 2.2, box[3] - 2.2), 0.5, 0.8)
    rail = timber.board(wide - 2 * stile, stile)
    face.paste(rail, (round(stile * d), 0))
    face.paste(timber.board(wide - 2 * stile, stile + 1), (round(stile * d), place[1] + panel.height))
    for y in (0, place[1] + panel.height):
        for x in (stile, wide - stile):
            shaded(face, (x * d, y, x * d + 1, y + stile * d), 0.4, 0.6)
    return face


def top_surface(timber: Timber, state: State, seed: int = 1) -> Image.Image:
    """The top from above, back edge first: crossbanded border round the writing surface."""
    d, rng = timber.density, Random(f"top {seed}")
    wide, deep, border = 2 * TOP_X, 2 * TOP_Z, 9.5
    face = timber.board(wide, deep)
    middle_size = (round((wide - 2 * border) * d), round((deep - 2 * border) * d))
    for y in (0.0, deep - border):
        face.paste(timber.board(wide, border), (0, round(y * d)))
    for x in (0.0, wide - border):
        end = timber.board(deep, border, upright=True)
        cover = Image.new("L", end.size, 0)
        w, h = end.size
        shape = [(0, 0), (w, w), (w, h - w), (0, h)] if x == 0 else [(w, 0), (0, w), (0, h - w), (w, h)]
        ImageDraw.Draw(cover).polygon(shape, fill=255)
        face.paste(end, (round(x * d), 0), cover.filter(ImageFilter.GaussianBlur(0.6)))
    if state.leather:
        field = work.worn_leather(rng, middle_size, d)
    else:
        field = glued_up(timber, wide - 2 * border, deep - 2 * border, 5).resize(middle_size)
    place = (round(border * d), round(border * d))
    face.paste(field, place)
    inner = (border, border, wide - border, deep - border)
    if state.leather:
        for inset, colour, w in ((1.4, (150, 122, 66), 0.26), (2.3, (132, 106, 58), 0.14)):
            work.stringing(face, d, (inner[0] + inset, inner[1] + inset, inner[2] - inset, inner[3] - inset), w, colour)
        shaded(face, (inner[0] * d, inner[1] * d, inner[2] * d, (inner[1] + 0.3) * d), 0.15 * d, 0.7)
        shaded(face, (inner[0] * d, inner[3] * d, inner[2] * d, (inner[3] + 0.25) * d), 0.12 * d, 0.6)
    else:
        work.stringing(face, d, inner, 0.32, (36, 24, 18) if "bare" not in state.finish else (92, 74, 60))
        pale = (196, 164, 116) if "bare" not in state.finish else (206, 184, 150)
        work.stringing(face, d, (inner[0] + 0.45, inner[1] + 0.45, inner[2] - 0.45, inner[3] - 0.45), 0.22, pale)
    if state.worn:
        work.faded(face, (wide * 0.66 * d, -4 * d, wide * 1.02 * d, deep * 0.7 * d), 7 * d, 0.34)
        work.grime(face, rng, (7, 4), 0.55)
        work.scratches(face, d, rng, 90, 14, 120)
        work.water_ring(face, d, rng, 20, deep - 5.6, 3.6)
        work.water_ring(face, d, rng, 27.5, deep - 4.8, 3.4, 0.6)
    if state.dust:
        work.sanding_dust(face, rng, 0.6)
    return face


def _tape(stage: Stage, quad: list[Point3], brightness: float) -> None:
    """A strip of masking tape, its crinkles and a slight shadow."""
    stage.dark(quad, 0.3, 0.4)
    tape = Image.new("RGB", (120, 12), (212, 190, 128))
    work.grime(tape, Random("tape"), (30, 2), 0.35, (160, 136, 84))
    stage.face(quad, lit(tape, [[brightness, brightness * 0.9], [brightness * 0.92, brightness * 0.82]]))


def stand(stage: Stage, state: State, density: float) -> None:
    """Put the desk on its place, the middle of the room, as it is in `state`."""
    timber = Timber(state.finish, density, 1)
    b, up = state.brightness, state.raised
    low, under, high = LOW + up, UNDER + up, HIGH + up

    # the kneehole: the back panel far inside, the left pedestal's inner side
    back = timber.board(2 * KNEE, under - low)
    stage.face(
        [(-KNEE, under, -BODY_Z + 8), (KNEE, under, -BODY_Z + 8), (KNEE, low - 2, -BODY_Z + 8), (-KNEE, low - 2, -BODY_Z + 8)],
        lit(back, [[b * 0.16, b * 0.20], [b * 0.34, b * 0.40]]),
    )
    inner = timber.board(under - up, 2 * BODY_Z - 8, upright=True)
    stage.face(
        [(-KNEE, under, BODY_Z), (-KNEE, under, -BODY_Z + 8), (-KNEE, up, -BODY_Z + 8), (-KNEE, up, BODY_Z)],
        lit(inner, [[b * 0.30, b * 0.12], [b * 0.50, b * 0.24]]),
    )
    for left, right, missing in ((-BODY_X, -KNEE, None), (KNEE, BODY_X, 1)):
        wide = right - left
        if right > 0:  # the end that the camera sees
            end = _panelled(timber, 2 * BODY_Z, under - low)
            if state.worn:
                work.grime(end, Random("end"), (3, 4), 0.7)
                work.scratches(end, density, Random("end"), 16, 8)
            stage.face(
                [(right, under, BODY_Z), (right, under, -BODY_Z), (right, low, -BODY_Z), (right, low, BODY_Z)],
                lit(end, [[b * 0.40, b * 0.50], [b * 0.46, b * 0.52], [b * 0.36, b * 0.38]]),
            )
            plinth = timber.board(2 * BODY_Z + 2.4, LOW)
            stage.face(
                [(right + 1.2, low, BODY_Z + 1.2), (right + 1.2, low, -BODY_Z - 1.2), (right + 1.2, up, -BODY_Z - 1.2), (right + 1.2, up, BODY_Z + 1.2)],
                lit(plinth, [[b * 0.44, b * 0.46], [b * 0.28, b * 0.28]]),
            )
            stage.dark([(right, low + 0.2, BODY_Z), (right, low + 0.2, -BODY_Z), (right, low + 1.4, -BODY_Z), (right, low + 1.4, BODY_Z)], 0.5, 0.5)
        front = _front(timber, state, wide, under - low, 1 if right > 0 else 2, missing if state.worn else None)
        if state.dust:
            work.sanding_dust(front, Random(f"dust {left}"), 0.25)
        tones = [[b * 0.62, b * 0.58], [b * 0.92, b * 0.82], [b * 0.88, b * 0.76], [b * 0.66, b * 0.58]]
        stage.face([(left, under, BODY_Z), (right, under, BODY_Z), (right, low, BODY_Z), (left, low, BODY_Z)], lit(front, tones))
        if state.sheen:
            sheen = [stage.at(p) for p in ((left + 3, under - 2, BODY_Z), (left + 20, under - 2, BODY_Z), (left + 13, low + 2, BODY_Z), (left + 2, low + 2, BODY_Z))]
            whole = [stage.at(p) for p in ((left, under, BODY_Z), (right, under, BODY_Z), (right, low, BODY_Z), (left, low, BODY_Z))]
            stage.glow(sheen, 5 * stage.scale_at((left, 40, BODY_Z)), 0.16 * state.sheen, PALE, whole)
        stage.edge((left, under - 3, BODY_Z), (left, low, BODY_Z), 0.3, PALE, 0.2)
        if right > 0:
            stage.edge((right, under - 3, BODY_Z), (right, low, BODY_Z), 0.3, PALE, 0.3)
        plinth = timber.board(wide + 2.4, LOW)
        out = BODY_Z + 1.2
        stage.face(
            [(left - 1.2, low, out), (right + 1.2, low, out), (right + 1.2, up, out), (left - 1.2, up, out)],
            lit(plinth, [[b * 0.92, b * 0.80], [b * 0.58, b * 0.5]]),
        )
        stage.edge((left - 1.2, low, out), (right + 1.2, low, out), 0.32, PALE, 0.34)
        if state.worn:
            stage.dark([(right - 6, up + 1, out), (right + 1, up + 2.5, out), (right + 1, up, out), (right - 7, up, out)], 0.5, 0.5)

    # the frieze over the kneehole, with its one long drawer
    tall = 11.0
    frieze = timber.board(2 * KNEE, tall)
    work.drawer_front(frieze, timber, (1.6, 1.6, 2 * KNEE - 1.6, tall - 1.4), bead=0.5)
    colour, shine = _metal(state)
    if state.hardware:
        work.escutcheon(frieze, density, KNEE, 4.6, colour)
        for x in (KNEE - 14, KNEE + 14):
            work.knob(frieze, density, x, tall / 2 + 0.4, 1.45, colour, shine)
    else:
        for x in (KNEE - 14, KNEE + 14):
            work.empty_hole(frieze, density, x, tall / 2 + 0.4, 0.9)
    if state.worn:
        work.grime(frieze, Random("frieze"), (7, 2), 0.6)
        work.scratches(frieze, density, Random("frieze"), 14, 9)
    set_in = BODY_Z - 1.5
    stage.dark([(-KNEE, under - tall, 0), (KNEE, under - tall, 0), (KNEE, under - tall - 10, 0), (-KNEE, under - tall - 10, 0)], 4, 0.35,
               [(-KNEE, under, BODY_Z), (KNEE, under, BODY_Z), (KNEE, up, BODY_Z), (-KNEE, up, BODY_Z)])  # fmt: skip
    stage.face(
        [(-KNEE, under, set_in), (KNEE, under, set_in), (KNEE, under - tall, set_in), (-KNEE, under - tall, set_in)],
        lit(frieze, [[b * 0.52, b * 0.52], [b * 0.84, b * 0.78], [b * 0.8, b * 0.72]]),
    )
    stage.edge((-KNEE, under - tall, set_in), (KNEE, under - tall, set_in), 0.4, PALE, 0.22)

    # under the top its shadow, then its moulded edge, then the top itself
    for z, x0, x1 in ((BODY_Z, -BODY_X, BODY_X),):
        stage.dark([(x0, under, z), (x1, under, z), (x1, under - 3.2, z), (x0, under - 2.2, z)], 1.1, 0.62,
                   [(x0, under, z), (x1, under, z), (x1, low, z), (x0, low, z)])  # fmt: skip
    stage.dark([(BODY_X, under, BODY_Z), (BODY_X, under, -BODY_Z), (BODY_X, under - 3.5, -BODY_Z), (BODY_X, under - 3.5, BODY_Z)], 1.2, 0.5)
    thick = high - under
    moulding = [[b * 1.0, b * 0.94, b * 0.84], [b * 0.80, b * 0.76, b * 0.66], [b * 0.86, b * 0.8, b * 0.7], [b * 0.40, b * 0.36, b * 0.32]]
    edge = timber.board(2 * TOP_X, thick)
    side = timber.board(2 * TOP_Z, thick)
    if state.worn:
        work.chipped(edge, density, Random("chips"), [(38, 0.8, 0.9), (97, 2.4, 0.6), (120, 0.5, 1.1)], (176, 138, 98))
        work.scratches(edge, density, Random("chips"), 12, 4)
    stage.face([(-TOP_X, high, TOP_Z), (TOP_X, high, TOP_Z), (TOP_X, under, TOP_Z), (-TOP_X, under, TOP_Z)], lit(edge, moulding))
    stage.face(
        [(TOP_X, high, TOP_Z), (TOP_X, high, -TOP_Z), (TOP_X, under, -TOP_Z), (TOP_X, under, TOP_Z)],
        lit(side, [[b * 0.66, b * 0.7], [b * 0.46, b * 0.5], [b * 0.5, b * 0.52], [b * 0.24, b * 0.26]]),
    )
    surface = top_surface(timber, state)
    corners: list[Point3] = [(-TOP_X, high, -TOP_Z), (TOP_X, high, -TOP_Z), (TOP_X, high, TOP_Z), (-TOP_X, high, TOP_Z)]
    stage.face(corners, lit(surface, [[b * 0.98, b * 0.94, b * 0.8], [b, b, b * 0.84], [b * 0.96, b * 0.92, b * 0.78]]))
    flat = [stage.at(p) for p in corners]
    if state.sheen:
        shine = [stage.at(p) for p in ((-64, high, -TOP_Z), (-2, high, -TOP_Z), (-14, high, TOP_Z), (-60, high, TOP_Z))]
        stage.glow(shine, 4.5 * stage.scale_at(corners[3]), 0.34 * state.sheen, PALE, flat)
        bar = [stage.at(p) for p in ((10, high, -TOP_Z), (24, high, -TOP_Z), (13, high, TOP_Z), (1, high, TOP_Z))]
        stage.glow(bar, 3 * stage.scale_at(corners[3]), 0.14 * state.sheen, PALE, flat)
    stage.edge(corners[3], corners[2], 0.3, PALE, 0.4 + 0.3 * state.sheen)
    stage.edge(corners[2], corners[1], 0.3, PALE, 0.26)
    stage.edge(corners[3], corners[0], 0.3, PALE, 0.2)
    if state.worn:  # veneer lifting at the front edge, and the strip that has gone
        gone: list[Point3] = [(44, high + 0.05, TOP_Z), (57, high + 0.05, TOP_Z), (55, high + 0.05, TOP_Z - 3.4), (48, high + 0.05, TOP_Z - 2.6)]
        stage.face(gone, lit(Image.new("RGB", (60, 20), (168, 132, 94)), [[b * 0.8, b * 0.7], [b, b * 0.9]]))
        stage.dark([gone[3], gone[2], (55, high, TOP_Z - 2.6), (48, high, TOP_Z - 2.0)], 0.25, 0.7)
        stage.dark([(-10, under + 0.6, TOP_Z), (14, under + 0.6, TOP_Z), (14, under, TOP_Z), (-10, under, TOP_Z)], 0.3, 0.4)
    if state.masked:
        for y in (under - tall - 0.2,):
            _tape(stage, [(-KNEE, y + 2.4, set_in + 0.1), (KNEE, y + 2.4, set_in + 0.1), (KNEE, y, set_in + 0.1), (-KNEE, y, set_in + 0.1)], b * 0.86)


def reflection(stage: Stage, width: float, strength: float, floor: float = 0.0) -> None:
    """A faint image of what stands above the floor line, mirrored into polished boards."""
    line = round(stage.at((0, floor, width))[1])
    high = min(line, stage.size[1] - line)
    if high <= 4:
        return
    above = stage.image.crop((0, line - high, stage.size[0], line)).transpose(Image.Transpose.FLIP_TOP_BOTTOM)
    fade = Image.linear_gradient("L").resize(above.size).point([round((255 - i) * strength) for i in range(256)])
    below = stage.image.crop((0, line, stage.size[0], line + high))
    stage.image.paste(Image.composite(ImageChops.lighter(above, below), below, fade), (0, line))
