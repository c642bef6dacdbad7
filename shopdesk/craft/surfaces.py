"""The area to be coated of a piece, by face group, from a handful of sizes and counts.

Sizes are in millimetres, as the desk keeps them. Every shape counts flat faces and girths only, by the parts
it names in `Face.says_how`; mouldings, carvings and overspray are the shop's to add. Thicknesses that nobody
measured have defaults: common practice, no source.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

from shopdesk.craft.faces import (
    GROUPS,
    QUARTER_PI,
    ZERO,
    Face,
    Group,
    Part,
    Shape,
    area_of,
    around,
    count_checked,
    pair_given,
    size_checked,
    sizes_checked,
    total_area,
)
from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import LARGEST_M2, System, show_area

__all__ = [
    "GROUPS",
    "Bed",
    "Bench",
    "Case",
    "Chair",
    "Face",
    "Group",
    "MirrorFrame",
    "Other",
    "Shape",
    "Table",
    "TypedArea",
    "area_of",
]


@dataclass(frozen=True)
class Case(Shape):
    """A chest, cupboard, sideboard, bookcase: a box with drawers and doors, on legs or not.

    `height_mm` is from the floor to the top, `legs_height_mm` the part of it that the legs hold up (0: none).
    With drawers and doors together each needs its own size. With only one of them, no size means that the
    fronts fill the whole front. Drawer fronts are coated on the face and the edges, doors on both faces and
    the edges. `back` and `inside` say whether these are coated; the inside counts back, sides, bottom,
    underside of the top, and both faces of each shelf. Drawer boxes are left as they are.
    """

    kind: ClassVar[str] = "case"

    width_mm: Decimal
    depth_mm: Decimal
    height_mm: Decimal
    drawers: int = 0
    doors: int = 0
    drawer_width_mm: Decimal | None = None
    drawer_height_mm: Decimal | None = None
    door_width_mm: Decimal | None = None
    door_height_mm: Decimal | None = None
    shelves: int = 0
    back: bool = False
    inside: bool = False
    legs: int = 4
    legs_height_mm: Decimal = ZERO
    leg_girth_mm: Decimal = Decimal(160)
    thickness_mm: Decimal = Decimal(20)

    def _check(self) -> None:
        sizes_checked(
            width=self.width_mm, depth=self.depth_mm, height=self.height_mm, thickness=self.thickness_mm
        )
        count_checked(drawers=self.drawers, doors=self.doors, shelves=self.shelves, legs=self.legs)
        if size_checked("height of the legs", self.legs_height_mm) >= self.height_mm:
            raise ValueError("The legs are as high as the whole piece; please check both heights.")
        if self.legs_height_mm:
            sizes_checked(girth_of_a_leg=self.leg_girth_mm)
        drawer = pair_given("drawer", self.drawer_width_mm, self.drawer_height_mm)
        door = pair_given("door", self.door_width_mm, self.door_height_mm)
        if self.drawers and self.doors and not (drawer and door):
            raise ValueError(
                "With drawers and doors together, please give the size of a drawer and of a door."
            )
        if self._front_left() < 0:
            raise ValueError("The fronts are larger than the front they are in; please check their sizes.")

    def _case_height(self) -> Decimal:
        return EXACT.subtract(self.height_mm, self.legs_height_mm)

    def _fronts(self) -> list[tuple[str, int, Decimal, Decimal]]:
        """Name, count, width and height of the fronts; without a size, equal rows that fill the front."""
        found = []
        for what, count, width, height in (
            ("drawer", self.drawers, self.drawer_width_mm, self.drawer_height_mm),
            ("door", self.doors, self.door_width_mm, self.door_height_mm),
        ):
            if count and width is not None and height is not None:
                found.append((what, count, width, height))
            elif count:
                # One front that fills all of it stands for the lot; the edges between them come on top.
                found.append((what, 0, self.width_mm, self._case_height()))
        return found

    def _front_left(self) -> Decimal:
        """What the fronts leave of the front, in mm²: the frame around them."""
        left = EXACT.multiply(self.width_mm, self._case_height())
        for _, count, width, height in self._fronts():
            left = EXACT.subtract(left, EXACT.multiply(EXACT.multiply(width, height), Decimal(count or 1)))
        return left

    def _parts(self) -> dict[Group, list[Part]]:
        width, depth, height, edge = self.width_mm, self.depth_mm, self._case_height(), self.thickness_mm
        body = [Part("sides", 2, depth, height)]
        fronts: list[Part] = []
        sized = [front for front in self._fronts() if front[1]]
        for what, count, a, b in self._fronts():
            faces = 2 if what == "door" else 1
            number = count or (self.drawers if what == "drawer" else self.doors)
            if count:
                name = {1: "drawer fronts", 2: "faces of doors"}[faces]
                fronts.append(Part(name, faces * count, a, b))
                fronts.append(Part("edges across", 2 * count, a, edge))
                fronts.append(Part("edges upright", 2 * count, b, edge))
            else:
                name = {1: "the whole front as drawers", 2: "faces of the whole front as doors"}[faces]
                # Drawers lie one above the other, doors stand side by side.
                across, upright = (number, 1) if what == "drawer" else (1, number)
                fronts.append(Part(name, faces, a, b))
                fronts.append(Part("edges across", 2 * across, a, edge))
                fronts.append(Part("edges upright", 2 * upright, b, edge))
        if sized:
            body.append(Part("front", 1, width, height))
            body += [Part(f"{what} openings", -count, a, b) for what, count, a, b in sized]
        elif not fronts:
            body += [Part("front edges", 2, width, edge), Part("front edges upright", 2, height, edge)]
        if self.back:
            body.append(Part("back", 1, width, height))
        top = [
            Part("top", 1, width, depth),
            Part("front edge", 1, width, edge),
            Part("side edges", 2, depth, edge),
        ]
        legs = [Part("legs", self.legs, self.leg_girth_mm, self.legs_height_mm)]
        inside = [
            Part("inside of the back", 1, width, height),
            Part("inside of the sides", 2, depth, height),
            Part("bottom and underside of the top", 2, width, depth),
            Part("faces of shelves", 2 * self.shelves, width, depth),
        ]
        return {
            "body": body,
            "top": top,
            "fronts": fronts,
            "legs_and_rails": legs,
            "inside": inside if self.inside else [],
        }


@dataclass(frozen=True)
class Table(Shape):
    """A table: the top with its edges, the rails under it on all four sides (outer face), and the legs.

    `girth` is what a tape says around a leg. A round top (`round`) is as long as it is wide. The legs run
    from the floor to the underside of the top. `underside` adds the top's lower face, as "inside".
    """

    kind: ClassVar[str] = "table"

    length_mm: Decimal
    width_mm: Decimal
    height_mm: Decimal
    legs: int = 4
    leg_girth_mm: Decimal = Decimal(240)
    rail_height_mm: Decimal = Decimal(100)
    top_thickness_mm: Decimal = Decimal(25)
    round: bool = False
    underside: bool = False

    def _check(self) -> None:
        sizes_checked(
            length=self.length_mm, width=self.width_mm, height=self.height_mm, thickness=self.top_thickness_mm
        )
        count_checked(legs=self.legs)
        size_checked("height of the rails", self.rail_height_mm)
        if self.legs:
            sizes_checked(girth_of_a_leg=self.leg_girth_mm)
        if self.round and self.length_mm != self.width_mm:
            raise ValueError(
                "A round top is as long as it is wide; for an oval, give the rectangle around it."
            )
        if EXACT.add(self.top_thickness_mm, self.rail_height_mm) > self.height_mm:
            raise ValueError("The top and its rails are higher than the table; please check the heights.")

    def _parts(self) -> dict[Group, list[Part]]:
        length, width, thick = self.length_mm, self.width_mm, self.top_thickness_mm
        top = [Part("round top" if self.round else "top", 1, length, width, round=self.round)]
        if self.round:
            rim = EXACT.multiply(EXACT.multiply(Decimal(4), QUARTER_PI), length)
            top.append(Part("edge around", 1, rim, thick))
        else:
            top += around("edges", length, width, thick)
        legs_height = EXACT.subtract(self.height_mm, thick)
        rails = [Part("legs", self.legs, self.leg_girth_mm, legs_height)]
        rails += around("rails", length, width, self.rail_height_mm)
        under = [Part("underside", 1, length, width, round=self.round)] if self.underside else []
        return {"top": top, "legs_and_rails": rails, "inside": under}


@dataclass(frozen=True)
class Chair(Shape):
    """A chair. Without spindles the back is a panel with two faces; with them, a rail on top, two posts,
    spindles.

    `seat` says whether the seat is coated (an upholstered one is not): its face, with the edges all round.
    `back_height_mm` is from the seat up; girths are what a tape says around a leg, a post, a spindle, a
    stretcher. The rails under the seat count their outer faces.
    """

    kind: ClassVar[str] = "chair"

    seat_width_mm: Decimal
    seat_depth_mm: Decimal
    seat_height_mm: Decimal
    back_height_mm: Decimal
    spindles: int = 0
    stretchers: int = 0
    seat: bool = True
    legs: int = 4
    leg_girth_mm: Decimal = Decimal(150)
    spindle_girth_mm: Decimal = Decimal(50)
    stretcher_girth_mm: Decimal = Decimal(80)
    top_rail_height_mm: Decimal = Decimal(80)
    seat_rail_height_mm: Decimal = Decimal(60)
    seat_thickness_mm: Decimal = Decimal(25)

    def _check(self) -> None:
        sizes_checked(
            width_of_the_seat=self.seat_width_mm,
            depth_of_the_seat=self.seat_depth_mm,
            height_of_the_seat=self.seat_height_mm,
            girth_of_a_leg=self.leg_girth_mm,
            girth_of_a_spindle=self.spindle_girth_mm,
            girth_of_a_stretcher=self.stretcher_girth_mm,
            height_of_the_top_rail=self.top_rail_height_mm,
            thickness_of_the_seat=self.seat_thickness_mm,
        )
        count_checked(spindles=self.spindles, stretchers=self.stretchers, legs=self.legs)
        size_checked("height of the rails under the seat", self.seat_rail_height_mm)
        if size_checked("height of the back", self.back_height_mm) == 0 and self.spindles:
            raise ValueError("A back with spindles has a height; please give it.")
        if self.spindles and self.top_rail_height_mm >= self.back_height_mm:
            raise ValueError("The top rail is as high as the whole back; please check both heights.")

    def _parts(self) -> dict[Group, list[Part]]:
        width, depth, back = self.seat_width_mm, self.seat_depth_mm, self.back_height_mm
        if self.spindles:
            free = EXACT.subtract(back, self.top_rail_height_mm)
            body = [
                Part("faces of the top rail", 2, width, self.top_rail_height_mm),
                Part("posts", 2, self.leg_girth_mm, back),
                Part("spindles", self.spindles, self.spindle_girth_mm, free),
            ]
        else:
            body = [Part("faces of the back", 2, width, back)]
        top = [Part("seat", 1, width, depth), *around("edges", width, depth, self.seat_thickness_mm)]
        rails = [
            Part("legs", self.legs, self.leg_girth_mm, self.seat_height_mm),
            *around("rails", width, depth, self.seat_rail_height_mm),
            Part("stretchers", self.stretchers, self.stretcher_girth_mm, width),
        ]
        return {"body": body, "top": top if self.seat else [], "legs_and_rails": rails}


@dataclass(frozen=True)
class Bed(Shape):
    """A bedstead: head and foot boards (two faces each), the side rails (two faces), and the posts.

    The boards' heights are those of the panels; 0 for the foot is no board. Two posts at the head and two at
    the foot run from the floor up to `head_post_mm` and `foot_post_mm`; 0 is none.
    """

    kind: ClassVar[str] = "bed"

    length_mm: Decimal
    width_mm: Decimal
    head_height_mm: Decimal
    foot_height_mm: Decimal = ZERO
    rail_height_mm: Decimal = Decimal(180)
    head_post_mm: Decimal = ZERO
    foot_post_mm: Decimal = ZERO
    post_girth_mm: Decimal = Decimal(280)

    def _check(self) -> None:
        sizes_checked(
            length=self.length_mm, width=self.width_mm, height_of_the_head_board=self.head_height_mm
        )
        size_checked("height of the foot board", self.foot_height_mm)
        size_checked("height of the side rails", self.rail_height_mm)
        if size_checked("height of a head post", self.head_post_mm) or size_checked(
            "height of a foot post", self.foot_post_mm
        ):
            sizes_checked(girth_of_a_post=self.post_girth_mm)

    def _parts(self) -> dict[Group, list[Part]]:
        body = [
            Part("faces of the head board", 2, self.width_mm, self.head_height_mm),
            Part("faces of the foot board", 2, self.width_mm, self.foot_height_mm),
        ]
        rails = [
            Part("faces of the side rails", 4, self.length_mm, self.rail_height_mm),
            Part("head posts", 2, self.post_girth_mm, self.head_post_mm),
            Part("foot posts", 2, self.post_girth_mm, self.foot_post_mm),
        ]
        return {"body": body, "legs_and_rails": rails}


@dataclass(frozen=True)
class Bench(Shape):
    """A bench: the seat with its edges, a back of two faces if it has one, legs and the rails under the
    seat."""

    kind: ClassVar[str] = "bench"

    length_mm: Decimal
    depth_mm: Decimal
    height_mm: Decimal
    back_height_mm: Decimal = ZERO
    legs: int = 4
    leg_girth_mm: Decimal = Decimal(200)
    rail_height_mm: Decimal = Decimal(80)
    seat_thickness_mm: Decimal = Decimal(30)
    underside: bool = False

    def _check(self) -> None:
        sizes_checked(
            length=self.length_mm,
            depth=self.depth_mm,
            height=self.height_mm,
            thickness=self.seat_thickness_mm,
        )
        count_checked(legs=self.legs)
        size_checked("height of the back", self.back_height_mm)
        size_checked("height of the rails", self.rail_height_mm)
        if self.legs:
            sizes_checked(girth_of_a_leg=self.leg_girth_mm)
        if EXACT.add(self.seat_thickness_mm, self.rail_height_mm) > self.height_mm:
            raise ValueError("The seat and its rails are higher than the bench; please check the heights.")

    def _parts(self) -> dict[Group, list[Part]]:
        length, depth, thick = self.length_mm, self.depth_mm, self.seat_thickness_mm
        return {
            "body": [Part("faces of the back", 2, length, self.back_height_mm)],
            "top": [Part("seat", 1, length, depth), *around("edges", length, depth, thick)],
            "legs_and_rails": [
                Part("legs", self.legs, self.leg_girth_mm, EXACT.subtract(self.height_mm, thick)),
                *around("rails", length, depth, self.rail_height_mm),
            ],
            "inside": [Part("underside", 1, length, depth)] if self.underside else [],
        }


@dataclass(frozen=True)
class MirrorFrame(Shape):
    """The frame of a mirror or picture: its face, the outer edges and the inner ones. `back` adds the
    back."""

    kind: ClassVar[str] = "mirror frame"

    width_mm: Decimal
    height_mm: Decimal
    face_mm: Decimal
    depth_mm: Decimal = Decimal(25)
    back: bool = False

    def _check(self) -> None:
        sizes_checked(
            width=self.width_mm, height=self.height_mm, width_of_the_frame=self.face_mm, depth=self.depth_mm
        )
        if EXACT.multiply(Decimal(2), self.face_mm) >= min(self.width_mm, self.height_mm):
            raise ValueError("The frame leaves no room for the mirror; please check how wide it is.")

    def _parts(self) -> dict[Group, list[Part]]:
        both = EXACT.multiply(Decimal(2), self.face_mm)
        width, height = EXACT.subtract(self.width_mm, both), EXACT.subtract(self.height_mm, both)
        faces = 2 if self.back else 1
        return {
            "body": [
                Part("faces" if self.back else "face", faces, self.width_mm, self.height_mm),
                Part("mirror", -faces, width, height),
                *around("outer edges", self.width_mm, self.height_mm, self.depth_mm),
                *around("inner edges", width, height, self.depth_mm),
            ]
        }


@dataclass(frozen=True)
class TypedArea:
    """An area somebody measured or guessed: its group, what it is, and m²."""

    group: Group
    what: str
    area_m2: Decimal


@dataclass(frozen=True)
class Other(Shape):
    """Any other piece, by areas that somebody typed."""

    kind: ClassVar[str] = "other"

    areas: tuple[TypedArea, ...]

    def _check(self) -> None:
        if not self.areas:
            raise ValueError("Please give at least one area, such as top, 0.8 m².")
        for typed in self.areas:
            if typed.group not in GROUPS:
                raise ValueError("An area belongs to the body, the top, the fronts, the legs or the inside.")
            if demand_decimal(typed.area_m2, "An area") <= 0:
                raise ValueError(f"The area of “{typed.what}” has to be above zero.")
            if typed.area_m2 > LARGEST_M2:
                raise ValueError(f"The area of “{typed.what}” is more than 1,000 m²; please check it.")

    def _parts(self) -> dict[Group, list[Part]]:
        return {}

    def faces(self, system: System = "metric") -> tuple[Face, ...]:
        self._check()
        found = []
        for group in GROUPS:
            typed = [area for area in self.areas if area.group == group]
            if typed:
                how = " + ".join(f"{area.what} {show_area(area.area_m2, system)}" for area in typed)
                area_m2 = total_area(area.area_m2 for area in typed)
                found.append(Face(group, area_m2, f"{how}, as typed = {show_area(area_m2, system)}"))
        return tuple(found)
