"""Areas worked by hand in square centimetres, and what must hold whatever the sizes are."""

from dataclasses import replace
from decimal import Decimal, localcontext
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shopdesk.craft.surfaces import (
    GROUPS,
    Bed,
    Bench,
    Case,
    Chair,
    MirrorFrame,
    Other,
    Shape,
    Table,
    TypedArea,
    area_of,
)

D = Decimal
CHEST = Case(D(900), D(450), D(720), drawers=3, back=True)
SIDEBOARD = Case(
    D(1200),
    D(450),
    D(800),
    drawers=2,
    doors=2,
    drawer_width_mm=D(550),
    drawer_height_mm=D(150),
    door_width_mm=D(550),
    door_height_mm=D(480),
    shelves=1,
    inside=True,
    legs_height_mm=D(150),
)
DINING_TABLE = Table(D(1600), D(900), D(750))
CHAIR = Chair(D(450), D(420), D(450), D(450), stretchers=3)


def by_group(shape: Shape) -> dict[str, Decimal]:
    return {face.group: face.area_m2 * 10_000 for face in shape.faces()}  # in cm²


@pytest.mark.parametrize(
    ("shape", "cm2"),
    [
        # body 2 × 45 × 72 + 90 × 72; top 90 × 45 + 90 × 2 + 2 × 45 × 2; fronts 90 × 72, six edges of 90 × 2
        # (two to a drawer), and 2 × 72 × 2 down the sides
        (CHEST, {"body": 12960, "top": 4410, "fronts": 7848}),
        # the case is 65 high. body 2 × 45 × 65 + 120 × 65 − 2 × 55 × 15 − 2 × 55 × 48; top 5400 + 240 + 180;
        # fronts 2 × 825 + 2 × 2 × 2640 and edges 2 × 2 × (55 + 15) × 2 + 2 × 2 × (55 + 48) × 2; legs 4 × 16 ×
        # 15; inside 120 × 65 + 2 × 45 × 65 + 2 × 120 × 45 + 2 × 120 × 45
        (
            SIDEBOARD,
            {"body": 6720, "top": 5820, "fronts": 13594, "legs_and_rails": 960, "inside": 35250},
        ),
        # an open bookcase: body 2 × 30 × 180 and the front edges 2 × 80 × 2 + 2 × 180 × 2; top 2400 + 160 +
        # 120
        (Case(D(800), D(300), D(1800)), {"body": 11840, "top": 2680}),
        # one cupboard door over the whole front, both faces: 2 × 40 × 60 + 2 × 40 × 2 + 2 × 60 × 2
        (Case(D(400), D(300), D(600), doors=1), {"body": 3600, "top": 1400, "fronts": 5200}),
        # top 160 × 90 + 2 × (160 + 90) × 2.5; legs 4 × 24 × 72.5, rails 2 × (160 + 90) × 10
        (DINING_TABLE, {"top": 15650, "legs_and_rails": 11960}),
        # a panel back 2 × 45 × 45; seat 45 × 42 + 2 × 87 × 2.5; legs 4 × 15 × 45, rails 2 × 87 × 6, 3 × 8 ×
        # 45
        (CHAIR, {"body": 4050, "top": 2325, "legs_and_rails": 4824}),
        # seven spindles: 2 × 45 × 8 + 2 × 15 × 45 + 7 × 5 × 37; the seat is upholstered
        (replace(CHAIR, spindles=7, seat=False), {"body": 3365, "legs_and_rails": 4824}),
        # head 2 × 140 × 90, foot 2 × 140 × 50; rails 4 × 200 × 18, posts 2 × 28 × 110 + 2 × 28 × 60
        (
            Bed(D(2000), D(1400), D(900), D(500), head_post_mm=D(1100), foot_post_mm=D(600)),
            {"body": 39200, "legs_and_rails": 23920},
        ),
        # seat 120 × 35 + 2 × 155 × 3; legs 4 × 20 × 42, rails 2 × 155 × 8; underside 120 × 35; back 2 × 120 ×
        # 40
        (
            Bench(D(1200), D(350), D(450), back_height_mm=D(400), underside=True),
            {"body": 9600, "top": 5130, "legs_and_rails": 5840, "inside": 4200},
        ),
        # face 60 × 90 − 44 × 74; edges 2 × 150 × 2.5 outside, 2 × 118 × 2.5 inside
        (MirrorFrame(D(600), D(900), D(80)), {"body": 3484}),
        (MirrorFrame(D(600), D(900), D(80), back=True), {"body": 5628}),
        (
            Other(
                (
                    TypedArea("top", "lid", D("0.8")),
                    TypedArea("body", "a", D(1)),
                    TypedArea("body", "b", D(2)),
                )
            ),
            {"body": 30000, "top": 8000},
        ),
    ],
)
def test_worked_by_hand(shape: Shape, cm2: dict[str, int]) -> None:
    assert by_group(shape) == cm2


def test_a_round_table() -> None:
    faces = {face.group: face for face in Table(D(1000), D(1000), D(750), round=True, underside=True).faces()}
    # π × 50² + π × 100 × 2.5 cm, with π = 3.14159265; π × 50² below.
    assert round(faces["top"].area_m2, 6) == D("0.863938")
    assert round(faces["inside"].area_m2, 6) == D("0.785398")
    with pytest.raises(ValueError, match="round top"):
        Table(D(1000), D(900), D(750), round=True).faces()


def test_each_group_says_how_it_was_counted() -> None:
    body, top, _ = CHEST.faces()
    assert body.says_how == "2 sides × 45 × 72 cm + back 90 × 72 cm = 1.3 m²"
    assert top.says_how == "top 90 × 45 cm + front edge 90 × 2 cm + 2 side edges × 45 × 2 cm = 0.441 m²"
    assert CHEST.faces("us")[0].says_how == "2 sides × 17 3/4 × 28 3/8 in + back 35 3/8 × 28 3/8 in = 14 ft²"
    assert "− mirror 44 × 74 cm" in MirrorFrame(D(600), D(900), D(80)).faces()[0].says_how
    assert Other((TypedArea("top", "lid", D("0.8")),)).faces()[0].says_how == "lid 0.8 m², as typed = 0.8 m²"


def test_groups_add_up() -> None:
    faces = SIDEBOARD.faces()
    assert [face.group for face in faces] == list(GROUPS)
    assert area_of(faces) == sum(face.area_m2 for face in faces)
    assert area_of(faces, ["top", "fronts"]) == D("0.5820") + D("1.3594")
    assert area_of(faces, []) == 0


A_FLOAT: Any = 900.0
A_HALF: Any = 0.5


@pytest.mark.parametrize(
    ("shape", "sentence"),
    [
        (replace(CHEST, width_mm=D(0)), "The width cannot be zero"),
        (replace(CHEST, depth_mm=D(-1)), "The depth cannot be below zero"),
        (replace(CHEST, height_mm=D(10_001)), "The height is more than 10 metres"),
        (replace(CHEST, width_mm=D("0.5")), "less than a millimetre"),
        (replace(CHEST, height_mm=D("NaN")), "must be a number"),
        (replace(CHEST, drawers=-1), "number of drawers cannot be below zero"),
        (replace(CHEST, drawers=400), "400 drawers are not believable"),
        (replace(CHEST, legs_height_mm=D(720)), "as high as the whole piece"),
        (replace(CHEST, doors=1), "size of a drawer and of a door"),
        (replace(CHEST, drawer_width_mm=D(400)), "both the width and the height"),
        (replace(SIDEBOARD, door_height_mm=D(700)), "larger than the front"),
        (replace(DINING_TABLE, rail_height_mm=D(740)), "higher than the table"),
        (replace(DINING_TABLE, leg_girth_mm=D(0)), "girth of a leg cannot be zero"),
        (replace(CHAIR, spindles=7, back_height_mm=D(0)), "back with spindles has a height"),
        (replace(CHAIR, spindles=7, back_height_mm=D(80)), "as high as the whole back"),
        (Bed(D(2000), D(1400), D(900), D(-1)), "foot board cannot be below zero"),
        (Bench(D(1200), D(350), D(100)), "higher than the bench"),
        (MirrorFrame(D(600), D(900), D(300)), "no room for the mirror"),
        (Other(()), "at least one area"),
        (Other((TypedArea("top", "lid", D(0)),)), "“lid” has to be above zero"),
        (Other((TypedArea("top", "lid", D(1001)),)), "more than 1,000 m²"),
    ],
)
def test_sizes_that_cannot_be(shape: Shape, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        shape.faces()


def test_no_size_is_a_float() -> None:
    with pytest.raises(TypeError, match="Decimal"):
        replace(CHEST, width_mm=A_FLOAT).faces()
    with pytest.raises(TypeError, match="whole number"):
        replace(CHEST, drawers=A_HALF).faces()
    with pytest.raises(TypeError, match="Decimal"):
        Other((TypedArea("top", "lid", A_HALF),)).faces()


def test_the_callers_decimal_context_does_not_matter() -> None:
    usual = SIDEBOARD.faces("us")
    with localcontext() as poor:
        poor.prec = 2
        assert SIDEBOARD.faces("us") == usual


sizes = st.integers(300, 2400).map(D)
small = st.integers(10, 100).map(D)
shapes: st.SearchStrategy[Shape] = st.one_of(
    st.builds(
        Case,
        sizes,
        sizes,
        sizes,
        drawers=st.integers(0, 9),
        back=st.booleans(),
        inside=st.booleans(),
        shelves=st.integers(0, 4),
        legs_height_mm=small,
        thickness_mm=small,
    ),
    st.builds(Case, sizes, sizes, sizes, doors=st.integers(0, 4)),
    st.builds(Table, sizes, sizes, sizes, rail_height_mm=small, underside=st.booleans()),
    st.builds(lambda size, height: Table(size, size, height, round=True), sizes, sizes),
    st.builds(Chair, sizes, sizes, sizes, sizes, spindles=st.integers(0, 12), stretchers=st.integers(0, 5)),
    st.builds(Bed, sizes, sizes, sizes, sizes, head_post_mm=sizes),
    st.builds(Bench, sizes, sizes, sizes, sizes),
    st.builds(MirrorFrame, sizes, sizes, small, small, st.booleans()),
)


@given(shapes)
def test_twice_the_size_is_four_times_the_area(shape: Shape) -> None:
    doubled = {
        name: value * 2 if isinstance(value, Decimal) else value for name, value in vars(shape).items()
    }
    twice = type(shape)(**doubled)
    once, large = by_group(shape), by_group(twice)
    assert large.keys() == once.keys()
    for group, area in once.items():
        assert area > 0
        assert abs(large[group] - area * 4) < D("1E-15")  # a round top's π ends somewhere


@given(sizes, sizes, sizes, st.integers(0, 20), st.booleans())
def test_another_drawer_never_lowers_the_fronts(
    width: Decimal, depth: Decimal, height: Decimal, drawers: int, sized: bool
) -> None:
    front = (D(250), D(90)) if sized else (None, None)
    case = Case(width, depth, height, drawers, drawer_width_mm=front[0], drawer_height_mm=front[1])
    assume(not sized or (drawers + 1) * 250 * 90 <= width * height)
    more = replace(case, drawers=drawers + 1)
    assert area_of(more.faces(), ["fronts"]) > area_of(case.faces(), ["fronts"])
    for group in ("top", "legs_and_rails", "inside"):
        assert by_group(more).get(group) == by_group(case).get(group)


@given(sizes, sizes, sizes, sizes, st.integers(1, 20))
def test_another_spindle_adds_itself(
    a: Decimal, b: Decimal, c: Decimal, back: Decimal, spindles: int
) -> None:
    chair = Chair(a, b, c, back, spindles=spindles)
    more = area_of(replace(chair, spindles=spindles + 1).faces()) - area_of(chair.faces())
    assert more == D(50) * (back - 80) / 1_000_000
