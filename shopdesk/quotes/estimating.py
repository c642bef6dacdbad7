"""A piece's estimate as part of the quote's one form: its fields, what they say, and what is worked out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.boundfield import BoundField
from django.utils.html import format_html

from shopdesk.commissions.models import Piece
from shopdesk.craft.rounding import EXACT
from shopdesk.craft.units import show_length
from shopdesk.look import formats
from shopdesk.pricebook.models import Shape
from shopdesk.pricebook.queries import Snapshot
from shopdesk.quotes import estimates, sizes
from shopdesk.quotes.models import Estimate, Quote
from shopdesk.quotes.typed import TypedEstimate, TypedLine
from shopdesk.shop.fields import MoneyField
from shopdesk.shop.models import Shop

FINEST = Decimal("0.000001")
_SIZES = {"length": sizes.LengthField, "count": sizes.CountField, "area": sizes.AreaField}
_FIELDS = {"area": sizes.AreaField, "minutes": sizes.MinutesField, "volume": sizes.VolumeField}


class EstimateForm(forms.Form):
    """What a piece is measured by, and its schedule. Figures that are put in by hand are added once the
    schedule is known (`add_puts`)."""

    say_needed = False

    def __init__(
        self, *args: Any, shop: Shop, shape: str, schedules: Mapping[str, str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.shop = shop
        self.fields["shape"] = forms.ChoiceField(
            label="Shape", choices=[("", "no estimate"), *Shape.choices], required=False
        )
        self.fields["schedule"] = forms.ChoiceField(
            label="Schedule", choices=[("", "choose one"), *schedules.items()], required=False
        )
        self.fields["count"] = sizes.CountField(shop, label="How many like this")
        self.fields["later"] = forms.BooleanField(
            label="The first of the set is another piece; these go quicker", required=False
        )
        self.sizes = sizes.sizes_of(shape)
        for size in self.sizes:
            self.fields[f"size-{size.name}"] = self._size(size)

    def _size(self, size: sizes.Size) -> forms.Field:
        if size.kind == "tick":
            return forms.BooleanField(label=size.label, required=False)
        made = _SIZES[size.kind](self.shop, label=size.label)
        if isinstance(size.default, Decimal) and size.default:
            made.widget.attrs["placeholder"] = show_length(size.default, sizes.length_unit(self.shop))
        elif isinstance(size.default, int) and size.default:
            made.widget.attrs["placeholder"] = str(size.default)
        return made

    def add_put(self, one: estimates.Reckoned, currency: str) -> None:
        label = f"Put in another figure for: {one.label}"
        self.fields[f"put-{one.key}"] = (
            MoneyField(self.shop, currency=currency, label=label, required=False)
            if one.kind == "money"
            else _FIELDS[one.kind](self.shop, label=label)
        )


@dataclass(frozen=True)
class Shown:
    """One figure on the page."""

    key: str
    """In ids: `0-area-top`."""
    label: str
    holds: str
    because: str
    """How it came about; and where another was put in instead: who did, when, and what was worked out."""
    put: bool
    row: EstimateRow
    name: str
    """In the press that goes back: `0 area-top`."""

    @property
    def field(self) -> BoundField:
        """Where another figure can be put in."""
        return self.row.form[f"put-{self.name.partition(' ')[2]}"]


class EstimateRow:
    """The estimate of one piece of the sheet: `raw` are its fields as they stand, by name without prefix."""

    def __init__(
        self,
        key: str,
        raw: dict[str, Any],
        *,
        data: Any,
        shop: Shop,
        quote: Quote,
        piece: Piece | None,
        kept: Estimate | None,
        schedules: Callable[[], Mapping[str, str]],
        snapshot: Callable[[str], Snapshot | None],
    ) -> None:
        self.key, self.raw, self.shop, self.quote, self.piece, self.kept = key, raw, shop, quote, piece, kept
        self.lead = piece is None or piece.lead_caution
        self.shape = str(raw.get("shape") or "")
        if self.shape not in Shape.values:
            self.shape = ""
        chosen = str(raw.get("schedule") or "")
        if raw.get("of", chosen) != chosen:  # what was put in belonged to another schedule's steps
            raw = {name: value for name, value in raw.items() if not _of_schedule(name)}
            self.raw = raw
        kept_schedule = estimates.snapshot_of(kept.schedule) if kept else None
        self.schedule: Snapshot | None = None
        if kept_schedule and str(kept_schedule["schedule"]) == chosen and not raw.get("fresh"):
            self.schedule = kept_schedule
        elif chosen:
            self.schedule = snapshot(chosen) or kept_schedule
        self._kept_schedule, self._schedules, self._data = kept_schedule, schedules, data

    @property
    def has_fresh(self) -> bool:
        """Whether the schedule that was kept is still in the price book, perhaps with other figures."""
        kept = self._kept_schedule
        return kept is not None and str(kept["schedule"]) in self._schedules()

    @cached_property
    def form(self) -> EstimateForm:
        """Its fields, made only where they are drawn or judged: the figures do without them."""
        offered = dict(self._schedules())
        if self._kept_schedule:
            offered.setdefault(
                str(self._kept_schedule["schedule"]),
                f"{self._kept_schedule['name']}, as it was (out of use now)",
            )
        form = EstimateForm(
            self._data if self.shape else None,
            prefix=f"est-{self.key}",
            initial=self.raw,
            shop=self.shop,
            shape=self.shape,
            schedules=offered,
        )
        for one in self.reckoned.figures():
            form.add_put(one, self.quote.currency)
        return form

    # -- what it says --------------------------------------------------------------------------------------

    @property
    def begun(self) -> bool:
        return bool(self.shape)

    def _clean(self, field: forms.Field, name: str) -> Any:
        try:
            return field.clean(field.prepare_value(self.raw.get(name)))
        except ValidationError:
            return None

    @cached_property
    def puts(self) -> dict[str, estimates.Put]:
        """What is put in by hand, as far as it can be read."""
        own = {one.figure: one for one in self.kept.overrides.all()} if self.kept else {}
        found = {}
        for name, value in self.raw.items():
            if not name.startswith("put-") or value in ("", None):
                continue
            key = name.removeprefix("put-")
            kind = _kind_of(key)
            field = (
                MoneyField(self.shop, currency=self.quote.currency, required=False)
                if kind == "money"
                else _FIELDS[kind](self.shop)
            )
            read = self._clean(field, name)
            if read is None:
                continue
            read = read.quantize(FINEST, context=EXACT)
            row = own.get(key)
            if row is not None and row.value is not None and row.value == read:
                found[key] = estimates.Put(read, row.user.name, row.at, row.reckoned)
            else:
                found[key] = estimates.Put(read)
        return found

    @cached_property
    def ask(self) -> estimates.Ask:
        read, unread = {}, []
        readers = _readers(self.shop)
        for size in sizes.sizes_of(self.shape):
            try:
                field, name = readers[size.kind], f"size-{size.name}"
                read[size.name] = field.clean(field.prepare_value(self.raw.get(name)))
            except ValidationError as error:
                unread.append(f"{size.label}: {' '.join(error.messages)}")
        count = self._clean(readers["count"], "count") or 1
        try:
            shape = sizes.shape_from(self.shape, read) if self.shape else "No shape yet."
        except ValueError as error:
            shape = str(error)
        shape = " ".join(unread) or shape
        self.lacking = shape if isinstance(shape, str) else ""
        return estimates.Ask(
            shape_name=self.shape,
            shape=None if isinstance(shape, str) else shape,
            count=min(max(count, 1), estimates.MOST_OF_A_SET),
            later=bool(self.raw.get("later")),
            schedule=self.schedule if self.shape else None,
            lead=self.lead,
            puts=self.puts,
            currency=self.quote.currency,
            locale=self.shop.locale,
            system=sizes.system_of(self.shop),
        )

    @cached_property
    def reckoned(self) -> estimates.Estimate:
        return estimates.reckon(self.ask)

    @property
    def troubles(self) -> list[str]:
        ask = self.ask
        said = [self.lacking] if self.begun and self.lacking else []
        if ask.shape is not None:
            said += self.reckoned.troubles
        return list(dict.fromkeys(said))

    @property
    def summary(self) -> str:
        """In a line: minutes, materials, price."""
        if not self.begun or self.schedule is None:
            return ""
        found = self.reckoned
        parts = [
            estimates.shown("minutes", found.minutes, self.ask),
            f"materials {estimates.shown('money', found.cost, self.ask)}",
            estimates.shown("money", found.price, self.ask),
        ]
        return ", ".join(parts)

    def sections(self) -> list[tuple[str, list[Shown]]]:
        found = self.reckoned
        named = (
            ("Area to coat, of one", found.areas),
            ("Time at the bench", found.steps),
            ("Litres and cans", found.materials),
            ("What it comes to", found.sums),
        )
        return [(title, [self._shown(one) for one in rows]) for title, rows in named if rows]

    def _shown(self, one: estimates.Reckoned) -> Shown:
        put, holds = "", estimates.shown(one.kind, one.holds if one.put else one.value, self.ask)
        because = one.because
        if one.put is not None:
            put = f"Worked out: {estimates.shown(one.kind, one.value, self.ask)}. Put in"
            if one.put.by and one.put.at:
                at = formats.moment(one.put.at, self.shop.tz, self.shop.locale)
                put += f" by {one.put.by}, {at}"
            put += "."
            holds = format_html('{} <span class="pencil">put in</span>', holds)
            because = format_html("{} <b>{}</b>", because, put)
        return Shown(
            key=f"{self.key}-{one.key}",
            label=one.label,
            holds=holds,
            because=because,
            put=one.put is not None,
            row=self,
            name=f"{self.key} {one.key}",
        )

    def typed(self) -> TypedEstimate | None:
        """What is kept; nothing where no shape is chosen."""
        if not self.begun:
            return None
        worked_out = {one.key: one.value for one in self.reckoned.figures()}
        known = {f"size-{size.name}" for shape in Shape.values for size in sizes.sizes_of(shape)}
        return TypedEstimate(
            shape=self.shape,
            sizes={
                name.removeprefix("size-"): str(value)[:40]
                for name, value in self.raw.items()
                if name in known and value not in ("", None, False)
            },
            count=self.ask.count,
            later=self.ask.later,
            schedule=dict(self.schedule) if self.schedule else {},
            puts={key: put.value for key, put in self.puts.items() if key in worked_out},
            worked_out={key: value for key, value in worked_out.items() if value is not None},
        )

    def lines(self) -> list[TypedLine]:
        if self.schedule is None:
            return []
        return estimates.lines_of(
            self.reckoned, self.schedule, tax_labour=self.shop.tax_labour, currency=self.quote.currency
        )


def raw_of(kept: Estimate | None) -> dict[str, Any]:
    """The fields of an estimate that was kept."""
    if kept is None:
        return {}
    puts = {one.figure: one.value for one in kept.overrides.all()}
    return {
        "shape": kept.shape,
        "schedule": str(kept.schedule.get("schedule", "")),
        "count": str(kept.count),
        "later": "on" if kept.later else "",
        **{f"size-{name}": value for name, value in kept.sizes.items()},
        **{f"put-{key}": value for key, value in puts.items() if value is not None},
    }


def _of_schedule(name: str) -> bool:
    return name.startswith("put-") and not name.startswith("put-area-")


def _kind_of(key: str) -> estimates.Kind:
    first = key.partition("-")[0]
    kinds: dict[str, estimates.Kind] = {"area": "area", "minutes": "minutes", "litres": "volume"}
    return kinds.get(first, "money")


def _readers(shop: Shop) -> dict[str, forms.Field]:
    """A field for each kind of size, to read with."""
    ticks: dict[str, forms.Field] = {"tick": forms.BooleanField(required=False)}
    return ticks | {kind: field(shop) for kind, field in _SIZES.items()}
