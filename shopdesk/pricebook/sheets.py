"""Materials and steps as a CSV file [RFC 4180]: written for spreadsheets, and read back from them.

Written in UTF-8 with a byte-order mark (spreadsheets then read it right), with the shop's decimal mark, and
with semicolons where that mark is a comma. A cell that a spreadsheet would take for a formula has an
apostrophe before it, which is taken off again when it is read.

Read with either separator. The first line names the columns, in any order; a column that is not there leaves
known rows as they are. A material has a line for each of its cans; its other cells need stand only once.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Generic, TypeVar

from babel.numbers import get_decimal_symbol
from django.core.exceptions import ValidationError

from shopdesk.craft.money import minor_units
from shopdesk.look.formats import known_locale
from shopdesk.pricebook.fields import FILM, SPREAD, MeasureField
from shopdesk.pricebook.models import Material, StepRate
from shopdesk.pricebook.typed import (
    CanFacts,
    Fault,
    MaterialFacts,
    StepRateFacts,
    can_of,
    faults_of_material,
    faults_of_step_rate,
)
from shopdesk.shop.fields import MoneyField, NumberField
from shopdesk.shop.models import Shop

MOST_BYTES = 5 * 1024 * 1024
MOST_LINES = 5_000
MOST_FAULTS = 100
"""So many are said; who has more starts with these."""

F = TypeVar("F", MaterialFacts, StepRateFacts)

_MATERIAL = {
    "name": "name",
    "kind": "kind",
    "purpose": "purpose",
    "volume solids %": "volume_solids_percent",
    "dry film µm": "dry_film_um",
    "spreading rate m²/L": "spread_m2_per_l",
    "coats": "coats",
    "recoat minutes": "recoat_minutes",
    "density kg/L": "density_kg_per_l",
    "thinning %": "thinning_percent",
    "cautions": "cautions",
    "can": "size",
    "price": "price",
}
_STEP = {
    "name": "name",
    "kind": "kind",
    "minutes per m²": "minutes_per_m2",
    "minutes per drawer": "minutes_per_drawer",
    "minutes per door": "minutes_per_door",
    "minutes per piece": "minutes_per_piece",
    "minutes once": "minutes_once",
    "each coat": "per_coat",
    "outlay per piece": "outlay_per_piece",
    "cautions": "cautions",
}
_CAN = ("size", "price")
COLUMNS = {"materials": tuple(_MATERIAL), "steps": tuple(_STEP)}
"""The first line of either file."""


@dataclass(frozen=True)
class LineFault:
    """What is wrong with a line of the file (1 is the first)."""

    line: int
    sentence: str


@dataclass(frozen=True)
class Change(Generic[F]):
    """What a file would make of one row: a `new` one, or another writing of a known one, in which `changed`
    names the columns that differ (none: it stays as it is)."""

    facts: F
    new: bool
    changed: tuple[str, ...] = ()

    @property
    def matters(self) -> bool:
        return self.new or bool(self.changed)


@dataclass(frozen=True)
class Reading(Generic[F]):
    """A file as it was read. With any fault there is nothing to take in."""

    changes: list[Change[F]]
    faults: list[LineFault]


# -- writing -------------------------------------------------------------------------------------------------


def _mark(shop: Shop) -> str:
    symbol = get_decimal_symbol(known_locale(shop.locale))
    return symbol if symbol in (".", ",") else "."


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def _safe(text: str) -> str:
    """A cell that no spreadsheet takes for a formula. The apostrophe itself is doubled, so that what is read
    back is what was written."""
    return f"'{text}" if text.startswith((*_FORMULA, "'")) else text


def _plain(cell: str) -> str:
    """A cell as it was before `_safe`."""
    cell = cell.strip(" ")
    return cell[1:] if cell[:1] == "'" and cell[1:2] in (*_FORMULA, "'") and len(cell) > 1 else cell


def _write(columns: Iterable[str], rows: Iterable[Sequence[object]], shop: Shop) -> bytes:
    mark = _mark(shop)

    def cell(value: object) -> str:
        if value is None:
            return ""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, Decimal):
            return f"{value.normalize():f}".replace(".", mark)
        return _safe(str(value))

    file = io.StringIO()
    writer = csv.writer(file, delimiter=";" if mark == "," else ",", lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([cell(value) for value in row] for row in rows)
    return file.getvalue().encode("utf-8-sig")


def write_materials(materials: Iterable[Material], shop: Shop) -> bytes:
    """A line for each can; a material without cans has one line."""
    mark = _mark(shop)
    facts = [column for column in _MATERIAL.values() if column not in _CAN]

    def rows() -> Iterator[list[object]]:
        for material in materials:
            cells: list[object] = [getattr(material, column) for column in facts]
            for can in material.cans.all():
                price = f"{can.price:.{minor_units(shop.currency)}f}".replace(".", mark)
                yield [*cells, can.label, price]
            if not material.cans.all():
                yield [*cells, None, None]

    return _write(_MATERIAL, rows(), shop)


def write_step_rates(rates: Iterable[StepRate], shop: Shop) -> bytes:
    return _write(_STEP, ([getattr(rate, column) for column in _STEP.values()] for rate in rates), shop)


# -- reading -------------------------------------------------------------------------------------------------


class _Unreadable(Exception):
    """The file as a whole cannot be read; a fault says why."""

    def __init__(self, sentence: str, line: int = 1) -> None:
        self.fault = LineFault(line, sentence)


def text_of(data: bytes) -> str:
    """The bytes of an uploaded file as text. Raises `ValueError` with a sentence."""
    if len(data) > MOST_BYTES:
        raise ValueError("The file is larger than 5 MB; split it.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueError(
            "The file is not in UTF-8. In the spreadsheet, save it as “CSV UTF-8” and try again."
        ) from error
    if "\0" in text:
        raise ValueError("That is not a CSV file.")
    if not text.strip():
        raise ValueError("The file is empty.")
    return text


def _heading(text: str) -> str:
    """A column's name in any writing: `Volume Solids (%)` is `volume solids %`."""
    plain = text.replace("μ", "µ").replace("²", "2").replace("(", " ").replace(")", " ")
    return " ".join(plain.casefold().split())


def _records(text: str, columns: Mapping[str, str]) -> Iterator[tuple[int, dict[str, str]]]:
    """Each line that says something, as (number of its first line, field → cell). Raises `_Unreadable`."""
    known = {_heading(name): field for name, field in columns.items()}
    first = next(io.StringIO(text, newline=""), "")
    comma, semicolon = (
        sum(_heading(cell) in known for cell in next(csv.reader([first], delimiter=mark), []))
        for mark in (",", ";")
    )
    # Strict: a quote in the middle of a cell is a slip that would swallow lines.
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=";" if semicolon > comma else ",", strict=True
    )
    fields: list[str] = []
    line = 1
    try:
        for cells in reader:
            here, line = line, reader.line_num + 1
            if here > MOST_LINES:
                raise _Unreadable("At most 5,000 lines, please; split the file.", here)
            if not fields:
                fields = _fields(cells, known, columns)
            elif any(cell.strip() for cell in cells):
                if len(cells) != len(fields):
                    raise _Unreadable(
                        f"It has {len(cells)} cells where the first line has {len(fields)}.", here
                    )
                yield here, dict(zip(fields, map(_plain, cells), strict=True))
    except csv.Error as error:
        raise _Unreadable(
            "The quotes on this line do not pair up, or something stands behind a closing one.",
            reader.line_num,
        ) from error


def _fields(cells: list[str], known: Mapping[str, str], columns: Mapping[str, str]) -> list[str]:
    """The first line's columns as fields."""
    strange = [cell for cell in cells if _heading(cell) not in known]
    if strange:
        told = ", ".join(columns)
        raise _Unreadable(f"We do not know the column “{strange[0][:40]}”. The columns are: {told}.")
    fields = [known[_heading(cell)] for cell in cells]
    if len(set(fields)) != len(fields):
        raise _Unreadable("A column is there twice.")
    if "name" not in fields:
        raise _Unreadable("There is no column “name”.")
    if ("size" in fields) != ("price" in fields):
        raise _Unreadable("The columns “can” and “price” go together.")
    return fields


class _Cells:
    """What stands in the cells of one file, read by the fields that the pages use."""

    def __init__(self, shop: Shop) -> None:
        number = {"required": False, "most": 100_000}
        self.number = NumberField(shop, decimals=10, **number)
        self.money = MoneyField(shop, required=False)
        self.measures = {
            "dry_film_um": MeasureField(shop, units=FILM, required=False),
            "spread_m2_per_l": MeasureField(shop, units=SPREAD, required=False),
        }

    def read(self, field: str, cell: str) -> Any:
        """The value of a fact, `None` for an empty cell. Raises `ValueError` with a sentence."""
        if field in ("name", "purpose", "cautions"):
            return " ".join(cell.split()) if field != "cautions" else cell.strip()
        if field == "kind":
            return cell.casefold().strip()
        if field == "per_coat":
            return self._yes(cell)
        try:
            if field == "outlay_per_piece":
                return self.money.clean(cell)
            value: Decimal | None = self.measures.get(field, self.number).clean(cell)
        except ValidationError as error:
            raise ValueError(error.messages[0]) from error
        if field in ("coats", "recoat_minutes") and value is not None:
            if value != value.to_integral_value():
                raise ValueError("Write a whole number.")
            return int(value)
        return value

    @staticmethod
    def _yes(cell: str) -> bool:
        said = cell.casefold().strip()
        if said in ("yes", "y", "true", "1", "x"):
            return True
        if said in ("", "no", "n", "false", "0"):
            return False
        raise ValueError("Write yes or no.")

    def can(self, size: str, price: str) -> CanFacts:
        if not size:
            raise ValueError("There is a price and no can; write what it holds, such as 1 qt or 2.5 L.")
        try:
            amount: Decimal | None = self.money.clean(price)
        except ValidationError as error:
            raise ValueError(error.messages[0]) from error
        if amount is None:
            raise ValueError("What does this can cost?")
        return can_of(size, amount)


_EMPTY: dict[str, Any] = {
    "coats": 1,
    "thinning_percent": Decimal(0),
    "kind": "other",
    **dict.fromkeys(StepRate.MINUTES, Decimal(0)),
    "outlay_per_piece": Decimal(0),
}
"""What an empty cell stands for, where that is not "not known"."""


def _given(
    line: int, cells: Mapping[str, str], reader: _Cells, faults: list[LineFault], names: Mapping[str, str]
) -> dict[str, Any]:
    """The facts that a line gives, without its can."""
    facts: dict[str, Any] = {}
    for field, cell in cells.items():
        if field in _CAN:
            continue
        try:
            value = reader.read(field, cell)
        except ValueError as error:
            faults.append(LineFault(line, f"{names[field]}: {error}"))
            continue
        facts[field] = _EMPTY.get(field) if value is None or (value == "" and field == "kind") else value
    return facts


def read_materials(text: str, shop: Shop, known: Iterable[Material]) -> Reading[MaterialFacts]:
    """A file of materials against those that are there (with their cans). Changes nothing."""
    names = {field: name for name, field in _MATERIAL.items()}
    reader, faults = _Cells(shop), list[LineFault]()
    before = {material.name.casefold(): material_facts(material) for material in known}
    found: dict[str, tuple[int, dict[str, Any], dict[str, str]]] = {}
    cans: dict[str, list[tuple[int, CanFacts]]] = {}
    with_cans = False
    try:
        for line, cells in _records(text, _MATERIAL):
            name = " ".join(cells["name"].split())
            key = name.casefold()
            if not name:
                faults.append(LineFault(line, "It has no name."))
                continue
            if key not in found:
                facts = _given(line, cells, reader, faults, names)
                found[key] = (line, facts, dict(cells))
            else:
                first, _, said = found[key]
                for field, cell in cells.items():
                    if field not in (*_CAN, "name") and cell and cell != said[field]:
                        faults.append(
                            LineFault(line, f"{names[field]}: line {first} says “{said[field][:40]}” for it.")
                        )
            if "size" in cells:
                with_cans = True
                if cells["size"] or cells["price"]:
                    try:
                        can = reader.can(cells["size"], cells["price"])
                        cans.setdefault(key, []).append((line, can))
                    except ValueError as error:
                        faults.append(LineFault(line, f"can: {error}"))
    except _Unreadable as no:
        return Reading([], [*faults, no.fault][-MOST_FAULTS:])
    changes: list[Change[MaterialFacts]] = []
    for key, (line, facts, _) in found.items():
        old = before.get(key)
        made = replace(old or MaterialFacts(facts["name"]), **facts)
        mine = cans.get(key, [])
        if with_cans:
            made = replace(made, cans=sorted((can for _, can in mine), key=lambda can: can.volume_ml))
            by_row = {index: at for index, (at, _) in enumerate(mine)}
            judged = replace(made, cans=[can for _, can in mine])
        else:
            by_row, judged = {}, made
        faults += _placed(faults_of_material(judged), line, by_row, names)
        changes.append(_change(old, made, names))
    return _reading(changes, faults)


def read_step_rates(text: str, shop: Shop, known: Iterable[StepRate]) -> Reading[StepRateFacts]:
    """A file of steps against those that are there. Changes nothing."""
    names = {field: name for name, field in _STEP.items()}
    reader, faults = _Cells(shop), list[LineFault]()
    before = {rate.name.casefold(): step_rate_facts(rate) for rate in known}
    changes: list[Change[StepRateFacts]] = []
    seen: dict[str, int] = {}
    try:
        for line, cells in _records(text, _STEP):
            key = " ".join(cells["name"].split()).casefold()
            if key in seen:
                faults.append(LineFault(line, f"This step is on line {seen[key]} already."))
                continue
            seen[key] = line
            wrong = len(faults)
            facts = _given(line, cells, reader, faults, names)
            if len(faults) > wrong:
                continue
            old = before.get(key)
            made = replace(old or StepRateFacts(facts["name"]), **facts)
            faults += _placed(faults_of_step_rate(made), line, {}, names)
            changes.append(_change(old, made, names))
    except _Unreadable as no:
        return Reading([], [*faults, no.fault][-MOST_FAULTS:])
    return _reading(changes, faults)


def _placed(
    found: Iterable[Fault], line: int, lines_of_cans: Mapping[int, int], names: Mapping[str, str]
) -> Iterator[LineFault]:
    for fault in found:
        where = line if fault.row is None else lines_of_cans.get(fault.row, line)
        column = names.get(fault.field or "", "")
        yield LineFault(where, f"{column}: {fault.sentence}" if column else fault.sentence)


def _change(old: F | None, made: F, names: Mapping[str, str]) -> Change[F]:
    if old is None:
        return Change(made, new=True)
    # The name as the file writes it counts: "degreaser" for "Degreaser" is a change.
    differs = [
        names.get(field, "cans") for field, value in vars(made).items() if value != getattr(old, field)
    ]
    return Change(made, new=False, changed=tuple(differs))


def _reading(changes: list[Change[F]], faults: list[LineFault]) -> Reading[F]:
    if not changes and not faults:
        faults = [LineFault(1, "There is nothing under the first line.")]
    ordered = sorted(dict.fromkeys(faults), key=lambda fault: fault.line)
    return Reading([] if ordered else changes, ordered[:MOST_FAULTS])


def material_facts(material: Material) -> MaterialFacts:
    """A row as it would be typed."""
    fields = [name for name in MaterialFacts.__dataclass_fields__ if name != "cans"]
    cans = [CanFacts(can.label, can.volume_ml, can.price) for can in material.cans.all()]
    return MaterialFacts(**{name: getattr(material, name) for name in fields}, cans=cans)


def step_rate_facts(rate: StepRate) -> StepRateFacts:
    return StepRateFacts(**{name: getattr(rate, name) for name in StepRateFacts.__dataclass_fields__})
