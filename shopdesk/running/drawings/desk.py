"""The harbour office's writing desk: walnut, two pedestals of three drawers, a writing surface let into the
top."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from PIL import Image, ImageDraw, ImageFilter

from . import joinery as work
from .geometry import Point3, end_on, lying, upright
from .grain import Colour, Timber, glued_up
from .joinery import BRASS, BRASS_DULL, shaded
from .stage import PALE, Stage, lit

# Half the top's length and depth, half the carcass', the kneehole's half width; heights of floor gap,
# carcass and top.
TOP_X, TOP_Z, BODY_X, BODY_Z, KNEE = 71.0, 36.5, 68.0, 33.5, 25.0
LOW, UNDER, HIGH = 8.0, 72.6, 76.0


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
            face.paste((26, 20, 16), (round(hollow[0]), round(hollow[1]), round(hollow[2]), round(hollow[3])))
            shaded(
                face,
                (left * d, (top + high - 2.2) * d, right * d, (top + high) * d),
                0.5 * d,
                0.35,
                (92, 70, 50),
            )
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
            elif not state.masked:
                work.empty_hole(face, d, (left + right) / 2, top + 3.6, 0.6)
        top += high + 1.5
    if state.worn:
        work.grime(face, rng, (4, 5), 0.75)
        work.scratches(face, d, rng, 26, 9, 90)


def _front(timber: Timber, state: State, wide: float, high: float, missing: int | None) -> Image.Image:
    d = timber.density
    face = timber.board(high, wide, upright=True)
    drawer_row(face, timber, state, Random(f"front {missing}"), missing)
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
    shaded(face, (box[0] * d, box[1] * d, box[2] * d, (box[1] + 0.7) * d), 0.35 * d, 0.6)
    shaded(face, (box[0] * d, box[1] * d, (box[0] + 0.7) * d, box[3] * d), 0.35 * d, 0.5)
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
        for inset, colour, thick in ((1.4, (150, 122, 66), 0.26), (2.3, (132, 106, 58), 0.14)):
            work.stringing(
                face,
                d,
                (inner[0] + inset, inner[1] + inset, inner[2] - inset, inner[3] - inset),
                thick,
                colour,
            )
        shaded(face, (inner[0] * d, inner[1] * d, inner[2] * d, (inner[1] + 0.3) * d), 0.15 * d, 0.7)
        shaded(face, (inner[0] * d, inner[3] * d, inner[2] * d, (inner[3] + 0.25) * d), 0.12 * d, 0.6)
    else:
        work.stringing(face, d, inner, 0.32, (36, 24, 18) if "bare" not in state.finish else (92, 74, 60))
        pale = (196, 164, 116) if "bare" not in state.finish else (206, 184, 150)
        work.stringing(
            face, d, (inner[0] + 0.45, inner[1] + 0.45, inner[2] - 0.45, inner[3] - 0.45), 0.22, pale
        )
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


class _Desk:
    """The desk being put together in a room, part by part."""

    def __init__(self, stage: Stage, state: State, density: float) -> None:
        self.stage, self.state, self.density = stage, state, density
        self.timber = Timber(state.finish, density, 1, stock=(165, 76))
        self.b, self.up = state.brightness, state.raised
        self.low, self.under, self.high = LOW + self.up, UNDER + self.up, HIGH + self.up

    def kneehole(self) -> None:
        """The back panel far inside, the left pedestal's inner side."""
        b, under = self.b, self.under
        back = self.timber.board(2 * KNEE, under - self.low)
        inside = -BODY_Z + 8
        tones = [[b * 0.16, b * 0.20], [b * 0.34, b * 0.40]]
        self.stage.face(upright(-KNEE, KNEE, self.low - 2, under, inside), lit(back, tones))
        inner = self.timber.board(under - self.up, 2 * BODY_Z - 8, upright=True)
        tones = [[b * 0.30, b * 0.12], [b * 0.50, b * 0.24]]
        self.stage.face(end_on(-KNEE, BODY_Z, inside, self.up, under), lit(inner, tones))

    def end(self) -> None:
        """The right end, which the camera sees in the shade, and its plinth."""
        stage, b, low = self.stage, self.b, self.low
        panel = _panelled(self.timber, 2 * BODY_Z, self.under - low)
        if self.state.worn:
            work.grime(panel, Random("end"), (3, 4), 0.7)
            work.scratches(panel, self.density, Random("end"), 16, 8)
        tones = [[b * 0.40, b * 0.50], [b * 0.46, b * 0.52], [b * 0.36, b * 0.38]]
        stage.face(end_on(BODY_X, BODY_Z, -BODY_Z, low, self.under), lit(panel, tones))
        plinth = lit(self.timber.board(2 * BODY_Z + 2.4, LOW), [[b * 0.44, b * 0.46], [b * 0.28, b * 0.28]])
        stage.face(end_on(BODY_X + 1.2, BODY_Z + 1.2, -BODY_Z - 1.2, self.up, low), plinth)
        stage.dark(end_on(BODY_X, BODY_Z, -BODY_Z, low + 1.4, low + 0.2), 0.5, 0.5)

    def pedestal(self, left: float, right: float, missing: int | None) -> None:
        """A pedestal's front and plinth."""
        stage, state, b, low, under, wide = self.stage, self.state, self.b, self.low, self.under, right - left
        front = _front(self.timber, state, wide, under - low, missing)
        if state.dust and state.drawers:
            work.sanding_dust(front, Random(f"dust {left}"), 0.25)
        tones = [[b * 0.62, b * 0.58], [b * 0.92, b * 0.82], [b * 0.88, b * 0.76], [b * 0.66, b * 0.58]]
        whole = upright(left, right, low, under, BODY_Z)
        stage.face(whole, lit(front, tones))
        if state.sheen:
            slant: list[Point3] = [
                (left + 3, under - 2, BODY_Z),
                (left + 20, under - 2, BODY_Z),
                (left + 13, low + 2, BODY_Z),
                (left + 2, low + 2, BODY_Z),
            ]
            stage.gleam(slant, 5, 0.07 * state.sheen, whole)
        stage.edge((left, under - 3, BODY_Z), (left, low, BODY_Z), 0.3, PALE, 0.2)
        if right > 0:
            stage.edge((right, under - 3, BODY_Z), (right, low, BODY_Z), 0.3, PALE, 0.3)
        plinth = lit(self.timber.board(wide + 2.4, LOW), [[b * 0.92, b * 0.80], [b * 0.58, b * 0.5]])
        out = BODY_Z + 1.2
        stage.face(upright(left - 1.2, right + 1.2, self.up, low, out), plinth)
        stage.edge((left - 1.2, low, out), (right + 1.2, low, out), 0.32, PALE, 0.34)
        if state.worn:
            stage.dark(upright(right - 6, right + 1, self.up, self.up + 2, out), 0.5, 0.5)

    def frieze(self) -> None:
        """Over the kneehole, with its one long drawer."""
        stage, state, b, d, under, tall = self.stage, self.state, self.b, self.density, self.under, 11.0
        face = self.timber.board(2 * KNEE, tall)
        work.drawer_front(face, self.timber, (1.6, 1.6, 2 * KNEE - 1.6, tall - 1.4), bead=0.5)
        colour, shine = _metal(state)
        for x in (KNEE - 14, KNEE + 14):
            if state.hardware:
                work.knob(face, d, x, tall / 2 + 0.4, 1.45, colour, shine)
            else:
                work.empty_hole(face, d, x, tall / 2 + 0.4, 0.9)
        if state.hardware:
            work.escutcheon(face, d, KNEE, 4.6, colour)
        if state.worn:
            work.grime(face, Random("frieze"), (7, 2), 0.6)
            work.scratches(face, d, Random("frieze"), 14, 9)
        z, foot = BODY_Z - 1.5, under - tall
        opening = upright(-KNEE, KNEE, self.up, under, BODY_Z)
        stage.dark(upright(-KNEE, KNEE, foot - 10, foot, 0), 4, 0.35, opening)
        tones = [[b * 0.52, b * 0.52], [b * 0.84, b * 0.78], [b * 0.8, b * 0.72]]
        stage.face(upright(-KNEE, KNEE, foot, under, z), lit(face, tones))
        stage.edge((-KNEE, foot, z), (KNEE, foot, z), 0.4, PALE, 0.22)
        if state.masked:
            _tape(stage, upright(-KNEE, KNEE, foot - 0.2, foot + 2.2, z + 0.1), b * 0.86)

    def top(self) -> None:
        """Its shadow on the carcass, its moulded edges, the writing surface, and what befell it."""
        stage, state, b, d, under, high = self.stage, self.state, self.b, self.density, self.under, self.high
        carcass = upright(-BODY_X, BODY_X, self.low, under, BODY_Z)
        stage.dark(upright(-BODY_X, BODY_X, under - 2.8, under, BODY_Z), 1.1, 0.62, carcass)
        stage.dark(end_on(BODY_X, BODY_Z, -BODY_Z, under - 3.5, under), 1.2, 0.5)
        edge, side = self.timber.board(2 * TOP_X, high - under), self.timber.board(2 * TOP_Z, high - under)
        if state.worn:
            chips = [(38, 0.8, 0.9), (97, 2.4, 0.6), (120, 0.5, 1.1)]
            work.chipped(edge, d, Random("chips"), chips, (176, 138, 98))
            work.scratches(edge, d, Random("chips"), 12, 4)
        tones = [[b, b * 0.84], [b * 0.80, b * 0.66], [b * 0.86, b * 0.7], [b * 0.40, b * 0.32]]
        stage.face(upright(-TOP_X, TOP_X, under, high, TOP_Z), lit(edge, tones))
        tones = [[b * 0.66, b * 0.7], [b * 0.46, b * 0.5], [b * 0.5, b * 0.52], [b * 0.24, b * 0.26]]
        stage.face(end_on(TOP_X, TOP_Z, -TOP_Z, under, high), lit(side, tones))

        corners = lying(-TOP_X, TOP_X, -TOP_Z, TOP_Z, high)
        tones = [[b * 0.98, b * 0.94, b * 0.8], [b, b, b * 0.84], [b * 0.96, b * 0.92, b * 0.78]]
        stage.face(corners, lit(top_surface(self.timber, state), tones))
        if state.sheen:  # the window, lying in the finish
            for back, front, strength in (((-64, -2), (-60, -14), 0.42), ((10, 24), (1, 13), 0.26)):
                pane: list[Point3] = [
                    (back[0], high, -TOP_Z),
                    (back[1], high, -TOP_Z),
                    (front[1], high, TOP_Z),
                    (front[0], high, TOP_Z),
                ]
                stage.gleam(pane, 4.5, strength * state.sheen, corners)
        stage.edge(corners[3], corners[2], 0.3, PALE, 0.36 + 0.16 * state.sheen)
        stage.edge(corners[2], corners[1], 0.3, PALE, 0.26)
        stage.edge(corners[3], corners[0], 0.3, PALE, 0.2)
        if state.worn:  # the strip of veneer that has gone at the front edge
            y = high + 0.05
            gone: list[Point3] = [(44, y, TOP_Z), (57, y, TOP_Z), (55, y, TOP_Z - 3.4), (48, y, TOP_Z - 2.6)]
            raw = Image.new("RGB", (60, 20), (168, 132, 94))
            stage.face(gone, lit(raw, [[b * 0.8, b * 0.7], [b, b * 0.9]]))
            stage.dark([gone[3], gone[2], (55, high, TOP_Z - 2.6), (48, high, TOP_Z - 2.0)], 0.25, 0.7)
            stage.dark(upright(-10, 14, under, under + 0.6, TOP_Z), 0.3, 0.4)


def stand(stage: Stage, state: State, density: float) -> None:
    """Put the desk on its place, the middle of the room, as it is in `state`: far parts first."""
    desk = _Desk(stage, state, density)
    desk.kneehole()
    desk.pedestal(-BODY_X, -KNEE, None)
    desk.end()
    desk.pedestal(KNEE, BODY_X, 1 if state.worn else None)
    desk.frieze()
    desk.top()
