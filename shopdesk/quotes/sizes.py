"""The sizes by which each shape of piece is measured, as fields to type into."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from decimal import Decimal
from typing import Any, Literal, cast

from django import forms
from django.core.exceptions import ValidationError

from shopdesk.commissions.models import Piece
from shopdesk.craft import surfaces
from shopdesk.craft.faces import MOST_PARTS
from shopdesk.craft.rounding import EXACT
from shopdesk.craft.units import (
    L_PER_QUART,
    M2_PER_SQUARE_FOOT,
    System,
    parse_area_m2,
    parse_length_mm,
    parse_volume_l,
    show_length,
)
from shopdesk.pricebook.models import Faces
from shopdesk.shop.models import Shop

SHAPES: Mapping[str, type[surfaces.Shape]] = {
    "case": surfaces.Case,
    "table": surfaces.Table,
    "chair": surfaces.Chair,
    "bed": surfaces.Bed,
    "bench": surfaces.Bench,
    "mirror frame": surfaces.MirrorFrame,
}
"""And "other", which is measured by areas."""
_TICKS = {
    "back": "The back is coated",
    "inside": "The inside is coated",
    "underside": "The underside is coated",
    "seat": "The seat is coated",
    "round": "A round top",
}
_FROM_PIECE = {
    "table": {"length_mm": "width_mm", "width_mm": "depth_mm", "height_mm": "height_mm"},
    "bench": {"length_mm": "width_mm", "depth_mm": "depth_mm", "height_mm": "height_mm"},
    "bed": {"length_mm": "depth_mm", "width_mm": "width_mm", "head_height_mm": "height_mm"},
    "chair": {"seat_width_mm": "width_mm", "seat_depth_mm": "depth_mm"},
    "case": {"width_mm": "width_mm", "depth_mm": "depth_mm", "height_mm": "height_mm"},
    "mirror frame": {"width_mm": "width_mm", "height_mm": "height_mm"},
}
"""Which of the client's own sizes a shape's size begins with."""
_MINUTES = re.compile(
    r"(?:(?P<h>\d+(?:[.,]\d+)?)\s*h(?:ours?)?)?\s*(?:(?P<min>\d+(?:[.,]\d+)?)\s*(?:min(?:utes)?)?)?"
)


@dataclass(frozen=True)
class Size:
    name: str
    label: str
    kind: Literal["length", "count", "tick", "area"]
    needed: bool
    default: Any = None


def system_of(shop: Shop) -> System:
    return "metric" if shop.units == Shop.Units.CENTIMETRES else "us"


def length_unit(shop: Shop) -> Literal["in", "cm"]:
    return "cm" if shop.units == Shop.Units.CENTIMETRES else "in"


def sizes_of(shape: str) -> list[Size]:
    """What a shape is measured by, what it cannot do without first."""
    if shape == "other":
        return [
            Size(f"area_{group}", f"Area of {Faces(group).label}", "area", False) for group in surfaces.GROUPS
        ]
    found = []
    for one in fields(cast(Any, SHAPES[shape])) if shape in SHAPES else ():
        needed = one.default is MISSING
        default = None if needed else one.default
        if one.name in _TICKS:
            found.append(Size(one.name, _TICKS[one.name], "tick", False, default))
        else:
            kind: Literal["length", "count"] = "length" if one.name.endswith("_mm") else "count"
            label = one.name.removesuffix("_mm").replace("_", " ").capitalize()
            found.append(Size(one.name, label, kind, needed, default))
    return sorted(found, key=lambda size: not (size.needed or size.kind == "count"))


def begin_with(shape: str, piece: Piece | None, shop: Shop) -> dict[str, Any]:
    """The sizes of the client's piece, and the ticks that are on of themselves."""
    begun: dict[str, Any] = {
        size.name: "on" for size in sizes_of(shape) if size.kind == "tick" and size.default
    }
    for name, own in _FROM_PIECE.get(shape, {}).items() if piece else ():
        mm = getattr(piece, own)
        if mm:
            begun[name] = show_length(mm, length_unit(shop))
    return begun


def shape_from(shape: str, read: Mapping[str, Any]) -> surfaces.Shape | str:
    """The shape from what could be read; or what is missing, in a sentence."""
    sizes = sizes_of(shape)
    if shape == "other":
        areas = tuple(
            surfaces.TypedArea(cast(surfaces.Group, size.name.removeprefix("area_")), "as measured", area)
            for size in sizes
            if (area := read.get(size.name)) is not None
        )
        return surfaces.Other(areas) if areas else "Give at least one area."
    missing = [size.label.lower() for size in sizes if size.needed and read.get(size.name) is None]
    if missing:
        return f"Still to be measured: {', '.join(missing)}."
    given = {size.name: read.get(size.name) for size in sizes}
    return SHAPES[shape](**{name: value for name, value in given.items() if value is not None})


# -- the fields ----------------------------------------------------------------------------------------------


class TypedField(forms.CharField):
    """Text as people write it, cleaned to a `Decimal`, or to nothing."""

    def __init__(self, shop: Shop, **kwargs: Any) -> None:
        self.shop = shop
        widget = forms.TextInput(attrs={"autocomplete": "off"})
        super().__init__(max_length=40, required=False, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        written = str(super().clean(value) or "")
        if not written:
            return None
        try:
            return self.read(written)
        except ValueError as error:
            raise ValidationError(str(error)) from error

    def read(self, written: str) -> Any:
        raise NotImplementedError


class LengthField(TypedField):
    def read(self, written: str) -> Decimal:
        return parse_length_mm(written, length_unit(self.shop))


class CountField(TypedField):
    def read(self, written: str) -> int:
        if not (written.isascii() and written.isdigit()):
            raise ValueError("Write a whole number, such as 3.")
        if int(written) > MOST_PARTS:
            raise ValueError(f"{int(written):,} are not believable; please check the number.")
        return int(written)


class AreaField(TypedField):
    def read(self, written: str) -> Decimal:
        return parse_area_m2(written, "m2" if system_of(self.shop) == "metric" else "ft2")

    def prepare_value(self, value: Any) -> Any:
        one = M2_PER_SQUARE_FOOT if system_of(self.shop) == "us" else Decimal(1)
        return _plain(value, one)


class VolumeField(TypedField):
    def read(self, written: str) -> Decimal:
        return parse_volume_l(written, "L" if system_of(self.shop) == "metric" else "qt")

    def prepare_value(self, value: Any) -> Any:
        one = L_PER_QUART if system_of(self.shop) == "us" else Decimal(1)
        return _plain(value, one)


class MinutesField(TypedField):
    """`45`, `45 min`, `2 h`, `1.5 h`, `2 h 05`."""

    def read(self, written: str) -> Decimal:
        found = _MINUTES.fullmatch(written.strip().lower())
        if found is None or not (found["h"] or found["min"]):
            raise ValueError("Write a time like 45, 45 min or 2 h 10.")
        hours, minutes = (Decimal((found[name] or "0").replace(",", ".")) for name in ("h", "min"))
        total = EXACT.add(EXACT.multiply(hours, Decimal(60)), minutes)
        if total > 60 * 24 * 60:
            raise ValueError("That is more than sixty days; please check it.")
        return total

    def prepare_value(self, value: Any) -> Any:
        return _plain(value, Decimal(1))


def _plain(value: Any, one: Decimal) -> Any:
    """A `Decimal` as it would be typed, to the thousandth of the unit."""
    if not isinstance(value, Decimal):
        return value
    return f"{EXACT.divide(value, one).quantize(Decimal('0.001')).normalize():f}"
