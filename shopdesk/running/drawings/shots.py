"""The pictures by name: which piece in which state, in which room, from where, and what the camera wrote
beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PIL import Image

from . import armchair, boards, closeups, desk, ladder_backs, others, rooms
from .grain import Size
from .stage import Stage

DESK_EYE, DESK_LOOK, DESK_FOCAL, DESK_SHIFT = (84.0, 143.0, 318.0), (3.0, 62.0, 0.0), 1.50, (0.0, -0.045)


@dataclass(frozen=True)
class Shot:
    """A picture: how to draw it, and how its file is written.

    `sideways` stores it turned, with the orientation tag that says so, as phones do; `located` writes a
    place into it (a point in the open sea: there is no such shop); `wide` writes it in a wide colour space
    with that profile.
    """

    paint: Callable[[Size], Image.Image]
    sideways: bool = False
    located: bool = False
    wide: bool = False


def _desk(size: Size) -> Stage:
    return Stage(size, DESK_EYE, DESK_LOOK, DESK_FOCAL, DESK_SHIFT)


def desk_before(size: Size) -> Image.Image:
    stage = _desk(size)
    rooms.workshop(stage)
    rooms.dust_sheet(stage, -104, 112, -66, 78)
    rooms.grounded(stage, -69, 69, -34, 35)
    desk.stand(stage, desk.State("walnut tired", worn=True, leather=True), 11 * stage.k)
    return stage.develop("desk before")


def desk_sanded(size: Size) -> Image.Image:
    stage = _desk(size)
    rooms.workshop(stage, seed=6)
    rooms.dust_sheet(stage, -108, 116, -68, 84, seed=4)
    rooms.grounded(stage, -66, 66, -32, 32, 0.55)
    high = 8.0
    rooms.blocks(
        stage, [(-61, -28), (-32, -28), (32, -28), (61, -28), (-61, 28), (-32, 28), (32, 28), (61, 28)], high
    )
    state = desk.State("walnut bare", hardware=False, drawers=False, dust=True, masked=True, raised=high)
    desk.stand(stage, state, 11 * stage.k)
    return stage.develop("desk sanded")


def desk_first_coats(size: Size) -> Image.Image:
    stage = _desk(size)
    rooms.booth(stage)
    rooms.grounded(stage, -66, 66, -32, 32, 0.6, 44)
    high = 8.0
    rooms.blocks(
        stage, [(-61, -28), (-32, -28), (32, -28), (61, -28), (-61, 28), (-32, 28), (32, 28), (61, 28)], high
    )
    desk.stand(
        stage, desk.State("walnut toned", hardware=False, masked=True, sheen=0.75, raised=high), 11 * stage.k
    )
    return stage.develop("desk first coats", warmth=1.02)


def desk_after(size: Size) -> Image.Image:
    stage = _desk(size)
    rooms.workshop(stage, wall=(168, 162, 148), brightness=1.0)
    rooms.grounded(stage, -69, 69, -34, 35)
    desk.stand(stage, desk.State("walnut toned", sheen=1.0), 11 * stage.k)
    return stage.develop("desk after", vignette=0.3)


def _chair(size: Size) -> Stage:
    return Stage(size, (36, 112, 230), (1, 41, 0), 1.60, (0, -0.005))


def armchair_before(size: Size) -> Image.Image:
    stage = _chair(size)
    rooms.workshop(stage)
    rooms.dust_sheet(stage, -62, 66, -48, 52)
    armchair.stand(stage, armchair.Chair("walnut tired", worn=True), 14 * stage.k)
    return stage.develop("armchair before")


def armchair_glued(size: Size) -> Image.Image:
    stage = _chair(size)
    rooms.workshop(stage, seed=6)
    rooms.dust_sheet(stage, -70, 74, -50, 58, seed=7)
    armchair.stand(stage, armchair.Chair("walnut bare", clamped=True), 14 * stage.k)
    return stage.develop("armchair glued")


def armchair_after(size: Size) -> Image.Image:
    stage = _chair(size)
    rooms.workshop(stage, wall=(168, 162, 148), brightness=1.0)
    armchair.stand(stage, armchair.Chair("walnut toned", sheen=1.0), 14 * stage.k)
    return stage.develop("armchair after", vignette=0.3)


def cabinet_before(size: Size) -> Image.Image:
    stage = Stage(size, (76, 138, 300), (4, 58, 0), 1.56)
    rooms.workshop(stage, seed=4)
    rooms.grounded(stage, -46, 46, -22, 22, 0.45)
    others.card_cabinet(stage, 13 * stage.k)
    return stage.develop("cabinet")


def ladder_backs_before(size: Size) -> Image.Image:
    stage = Stage(size, (60, 128, 330), (2, 70, 0), 1.42, (0, -0.1))
    rooms.workshop(stage)
    row = [(-72, -62, 0.3), (0, -66, 0.15), (72, -62, -0.2), (-64, 20, 0.25), (8, 26, -0.05), (78, 16, -0.3)]
    for number, (x, z, turn) in enumerate(row):
        ladder_backs.stand(
            stage,
            (x, 0, z),
            turn,
            9 * stage.k,
            number,
            0.8 if z < 0 else 1.0,
            torn=number == 4,
            slats=3 if number == 5 else 4,
        )
    return stage.develop("ladder backs")


def mirror_before(size: Size) -> Image.Image:
    stage = Stage(size, (-34, 96, 190), (-2, 60, -90), 1.5)
    rooms.workshop(stage, seed=5)
    others.mirror(stage, 12 * stage.k)
    return stage.develop("mirror")


def sample_board(
    tone: tuple[int, int, int], timber: str, label: str, note: str, size: Size = (2000, 1500)
) -> Image.Image:
    """A sample board in a stain of `tone` (sRGB) on "walnut" or "oak": one, two and three coats, named in
    pencil.

    The third stripe is on average the tone.
    """
    stage = boards.sample_board(size, tone, timber, label, note)
    return stage.develop(f"board {label}", vignette=0.3, bloom=0.05, exposure=1.0, contrast=0.0, film=3)


SHOTS: dict[str, Shot] = {
    "desk-before-front": Shot(desk_before, located=True),
    "desk-before-top": Shot(
        lambda size: closeups.damaged_top(size).develop("desk top"), sideways=True, located=True
    ),
    "desk-before-drawer": Shot(
        lambda size: closeups.inked_drawer(size).develop("desk drawer"), wide=True, located=True
    ),
    "desk-sanded": Shot(desk_sanded),
    "desk-first-coats": Shot(desk_first_coats),
    "desk-after-front": Shot(desk_after, wide=True),
    "desk-after-top": Shot(lambda size: closeups.finished_corner(size).develop("desk corner")),
    "armchair-before": Shot(armchair_before, sideways=True, located=True),
    "armchair-glue-up": Shot(armchair_glued),
    "armchair-after": Shot(armchair_after),
    "card-cabinet-before": Shot(cabinet_before, located=True),
    "ladder-backs-before": Shot(ladder_backs_before),
    "hall-mirror-before": Shot(mirror_before),
    "board-slipway-brown": Shot(
        lambda size: sample_board(
            (92, 58, 38), "walnut", "Slipway brown", "dye, then oil: one, two, three coats", size
        )
    ),
    "board-tarred-walnut": Shot(
        lambda size: sample_board(
            (62, 42, 32), "walnut", "Tarred walnut", "dye, then oil: one, two, three coats", size
        )
    ),
    "board-harvest-oak": Shot(
        lambda size: sample_board(
            (146, 98, 54), "oak", "Harvest oak", "oil stain: one, two, three coats", size
        )
    ),
}
