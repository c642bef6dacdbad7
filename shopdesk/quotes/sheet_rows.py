"""The rows of a quote's one form, and how they are read while somebody types."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from shopdesk.craft.rounding import EXACT, half_up
from shopdesk.quotes.estimating import EstimateRow
from shopdesk.quotes.forms import LineForm, OptionForm, PieceForm
from shopdesk.quotes.sums import Added
from shopdesk.quotes.typed import TypedLine, TypedOption

HOURS = ("h", "hr", "hrs", "hour", "hours")
"""Units of a line that say that its quantity is hours."""


@dataclass(frozen=True)
class Sums:
    """What is typed, added up with what is chosen to begin with (and the cheapest of the choices that are
    `open_still`); the totals of the lowest and the highest answer; and how many rows cannot be counted."""

    plain: Added
    open_still: list[str]
    lowest: Decimal | None
    highest: Decimal | None
    uncounted: int


@dataclass
class LineRow:
    key: str
    """ "0-2": the piece's key and the line's, as they stand in the field names."""
    form: LineForm
    blank: bool

    @property
    def more(self) -> bool:
        """Whether it has more to show than a plain line."""
        return has_any(self.form, "allowance", "by_number")


@dataclass
class PieceRow:
    key: str
    form: PieceForm
    estimate: EstimateRow
    lines: list[LineRow] = field(default_factory=list)
    lead_caution: bool = False

    @property
    def is_empty(self) -> bool:
        """Nothing was written for it yet but its name."""
        unwritten = not str(self.form["words"].value() or "").strip()
        return unwritten and not self.estimate.begun and all(line.blank for line in self.lines)


@dataclass
class OptionRow:
    key: str
    form: OptionForm
    blank: bool

    @property
    def more(self) -> bool:
        return has_any(self.form, "choice", "preselected", "allowance")


LINE = ("kind", "text", "quantity", "unit", "unit_price", "taxable", "allowance", "by_number")
LINE_TICKS = ("taxable", "allowance")
OPTION = ("text", "price", "taxable", "choice", "preselected", "allowance")
OPTION_TICKS = ("taxable", "preselected", "allowance")


def has_any(form: forms.Form, *names: str) -> bool:
    return any(form[name].value() or form[name].errors for name in names)


def read(form: forms.Form, name: str) -> Any:
    """What stands in a field, whether it was typed just now or kept before; `None` while it cannot be
    read."""
    try:
        field = form.fields[name]
        if form.is_bound:
            return field.clean(field.widget.value_from_datadict(form.data, form.files, form.add_prefix(name)))
        return field.clean(field.prepare_value(form.get_initial_for_field(field, name)))
    except ValidationError:
        return None


def countable(form: LineForm) -> TypedLine | None:
    quantity, price = read(form, "quantity"), read(form, "unit_price")
    by_number = read(form, "by_number")
    if quantity is None or price is None or by_number is None:
        return None
    return TypedLine("other", "", price, quantity, "", bool(read(form, "taxable")), by_number=by_number)


def offered(form: OptionForm) -> TypedOption | None:
    price = read(form, "price")
    if price is None:
        return None
    ticks = {name: bool(read(form, name)) for name in ("taxable", "preselected")}
    return TypedOption("", price, choice=read(form, "choice") or "", **ticks)


def keys_of(data: QueryDict, name: str, shape: str, most: int) -> list[str]:
    return [key for key in dict.fromkeys(data.getlist(name)) if re.fullmatch(shape, key, re.ASCII)][:most]


def fields_of(data: QueryDict, prefix: str, names: Any, ticks: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        name: f"{prefix}{name}" in data if name in ticks else data.get(f"{prefix}{name}", "")
        for name in names
    }


def raw_estimates(data: QueryDict) -> dict[str, dict[str, Any]]:
    """The fields of the pieces' estimates as they stand, by the piece's key and by name without prefix."""
    found: dict[str, dict[str, Any]] = {}
    for name in data:
        if name.startswith("est-"):
            _, key, own = [*name.split("-", 2), ""][:3]
            found.setdefault(key, {})[own] = data.get(name, "")
    return found


def quicker(line: dict[str, Any], factor: Decimal) -> dict[str, Any]:
    """A line of a later piece of a set: hours are multiplied by the factor, where they can be read."""
    try:
        hours = Decimal(str(line["quantity"]).replace(",", "."))
    except InvalidOperation:
        return line
    if line["unit"] not in HOURS or not hours.is_finite():
        return line
    return {**line, "quantity": half_up(EXACT.multiply(hours, factor), 2)}


def next_key(keys: list[str]) -> int:
    return max((int(key) for key in keys), default=-1) + 1
