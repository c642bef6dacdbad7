"""The price book as somebody types it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Field, Fieldset, Layout, Row
from django import forms
from django.core.exceptions import ValidationError

from shopdesk.pricebook import sheets
from shopdesk.pricebook.fields import FILM, SPREAD, MeasureField
from shopdesk.pricebook.models import Can, Equipment, Material, Shape, ShopRates, StepRate
from shopdesk.pricebook.typed import (
    MOST_CANS,
    CanFacts,
    EquipmentFacts,
    Fault,
    MaterialFacts,
    RatesFacts,
    StepRateFacts,
    can_of,
)
from shopdesk.shop.fields import MoneyField, NumberField
from shopdesk.shop.models import Shop

BLANK_CANS = 2


def _helper(*layout: Any) -> FormHelper:
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True  # the template writes the token, beside the submission key
    helper.layout = Layout(*layout)
    return helper


def _text(rows: int) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class BookForm(forms.Form):
    """A form about one row: faults that the action finds are put beside their fields."""

    say_needed = False

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        self.shop = shop
        super().__init__(*args, **kwargs)

    def _number(self, label: str, decimals: int, **kwargs: Any) -> NumberField:
        """Whether the figure is believable is for `typed` to say, in its own words."""
        kwargs.setdefault("required", False)
        return NumberField(self.shop, decimals=decimals, most=100_000_000, label=label, **kwargs)

    def _money(self, label: str, **kwargs: Any) -> MoneyField:
        return MoneyField(self.shop, label=f"{label} in {self.shop.currency}", required=False, **kwargs)

    def blame(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            self.add_error(fault.field if fault.field in self.fields else None, fault.sentence)

    def number(self, name: str, empty: Decimal = Decimal(0)) -> Decimal:
        value: Decimal | None = self.cleaned_data[name]
        return empty if value is None else value

    def whole(self, name: str, empty: int = 0) -> int:
        return int(self.number(name, Decimal(empty)))


class RatesForm(BookForm):
    def __init__(self, *args: Any, kept: ShopRates, **kwargs: Any) -> None:
        initial = {name: getattr(kept, name) for name in RatesFacts.__dataclass_fields__}
        initial["minutes_around_a_job"] = Decimal(kept.minutes_around_a_job)
        super().__init__(*args, initial=initial, **kwargs)
        self.fields = {
            "wanted_hourly": self._money(
                "What an hour should earn", help_text="After materials and fees, before your own taxes."
            ),
            "floor_hourly": self._money("The least an hour may earn"),
            "minimum_charge": self._money("The least a commission costs"),
            "rush_percent": self._number("Rush, in % on top", 2),
            "later_piece_factor": self._number(
                "Later pieces of a set take", 3,
                help_text="A share of the first one’s time: 0.85 when the second chair takes 85 %.",
            ),
            "sundries_percent": self._number(
                "Sundries, in % of the materials", 2, help_text="Abrasives, tape, rags, gloves."
            ),
            "material_markup_percent": self._number("Added to materials, in %", 2),
            "minutes_around_a_job": self._number(
                "Minutes around a job", 0, help_text="Quoting, driving, cleaning up."
            ),
        }  # fmt: skip

    @property
    def helper(self) -> FormHelper:
        return _helper(
            Fieldset("An hour", Row("wanted_hourly", "floor_hourly")),
            Fieldset("A commission", Row("minimum_charge", "rush_percent")),
            Fieldset("Materials", Row("material_markup_percent", "sundries_percent")),
            Fieldset("Time", Row("later_piece_factor", "minutes_around_a_job")),
        )

    def facts(self) -> RatesFacts:
        values = {name: self.number(name) for name in self.fields if name != "minutes_around_a_job"}
        return RatesFacts(**values, minutes_around_a_job=self.whole("minutes_around_a_job"))


class MaterialForm(BookForm):
    def __init__(self, *args: Any, material: Material | None = None, **kwargs: Any) -> None:
        super().__init__(*args, initial=_kept(material, MaterialFacts, skip=("cans",)), **kwargs)
        kind = forms.ChoiceField(label="Kind", choices=Material.Kind.choices)
        self.fields = {
            "name": forms.CharField(label="Name", max_length=120),
            "kind": kind,
            "purpose": forms.CharField(label="What it is for", max_length=300, required=False),
            "volume_solids_percent": self._number("Volume solids in %", 2),
            "dry_film_um": MeasureField(
                self.shop, units=FILM, required=False, label="Dry film of a coat, in µm",
                help_text="Or in mils: 1.2 mil.",
            ),
            "spread_m2_per_l": MeasureField(
                self.shop, units=SPREAD, required=False, label="Or spreading rate, in m² a litre",
                help_text="For what leaves no film. Or 400 sq ft/gal.",
            ),
            "coats": self._number("Coats", 0),
            "recoat_minutes": self._number("Minutes until the next coat", 0, help_text="At 25 °C and 50 %."),
            "thinning_percent": self._number("Thinner added, in %", 2),
            "density_kg_per_l": self._number("Density in kg a litre", 3),
            "cautions": forms.CharField(
                label="The data sheet’s own cautions", max_length=3000, required=False, widget=_text(3)
            ),
        }  # fmt: skip
        self.fields["name"].error_messages["required"] = "Give it a name."
        cans = list(material.cans.all()) if material else []
        self.cans = [
            CanForm(self.data if self.is_bound else None, shop=self.shop, place=place, can=can)
            for place, can in enumerate(
                [*cans, *[None] * (self._places() - len(cans) if self.is_bound else BLANK_CANS)][:MOST_CANS]
            )
        ]

    def _places(self) -> int:
        """So many rows of cans came back."""
        return sum(f"can-{place}-size" in self.data for place in range(MOST_CANS))

    @property
    def helper(self) -> FormHelper:
        return _helper(
            "name", Row("kind", "coats"), "purpose",
            Fieldset(
                "From its data sheet",
                Row("volume_solids_percent", "dry_film_um", "spread_m2_per_l"),
                Row("recoat_minutes", "thinning_percent", "density_kg_per_l"),
                "cautions",
            ),
        )  # fmt: skip

    def is_valid(self) -> bool:
        sound = [super().is_valid(), *[row.is_valid() for row in self._said]]
        return all(sound)

    @property
    def _said(self) -> list[CanForm]:
        return [row for row in self.cans if not row.blank]

    def facts(self) -> MaterialFacts:
        typed = self.cleaned_data
        return MaterialFacts(
            name=typed["name"],
            kind=typed["kind"],
            purpose=typed["purpose"],
            volume_solids_percent=typed["volume_solids_percent"],
            dry_film_um=typed["dry_film_um"],
            spread_m2_per_l=typed["spread_m2_per_l"],
            coats=self.whole("coats", 1),
            recoat_minutes=None if typed["recoat_minutes"] is None else self.whole("recoat_minutes"),
            density_kg_per_l=typed["density_kg_per_l"],
            thinning_percent=self.number("thinning_percent"),
            cautions=typed["cautions"],
            cans=[row.facts() for row in self._said],
        )

    def blame(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            if fault.row is not None:
                row = self._said[fault.row]
                row.add_error(fault.field if fault.field in row.fields else "size", fault.sentence)
            else:
                super().blame([fault])


class CanForm(forms.Form):
    """One size. Its labels stand at the head of their column, so each field carries one of its own."""

    say_needed = False

    def __init__(self, data: Any, *, shop: Shop, place: int, can: Can | None) -> None:
        initial = {"size": can.label, "price": can.price} if can else {}
        super().__init__(data, prefix=f"can-{place}", initial=initial)
        self.fields = {
            "size": forms.CharField(label="What it holds", max_length=40),
            "price": MoneyField(shop, label="Price"),
        }
        for one in self.fields.values():
            one.widget.attrs["aria-label"] = f"{one.label}, size {place + 1}"
        self.fields["size"].error_messages["required"] = "What does it hold?"
        self.fields["price"].error_messages["required"] = "What does it cost?"

    @property
    def blank(self) -> bool:
        return not any(str(self[name].value() or "").strip() for name in self.fields)

    def clean_size(self) -> str:
        typed = str(self.cleaned_data["size"])
        try:
            can_of(typed, Decimal(0))
        except ValueError as error:
            raise ValidationError(str(error)) from error
        return typed

    def facts(self) -> CanFacts:
        return can_of(self.cleaned_data["size"], self.cleaned_data["price"])


class EquipmentForm(BookForm):
    def __init__(self, *args: Any, tool: Equipment | None = None, **kwargs: Any) -> None:
        kept = tool or Equipment(name="")
        initial: dict[str, Any] = {"name": kept.name, "way": kept.way}
        names = [*(shape.column for shape in Shape), "cup_ml", "loss_per_fill_ml"]
        initial |= {name: Decimal(getattr(kept, name)) for name in names}
        super().__init__(*args, initial=initial, **kwargs)
        self.fields = {
            "name": forms.CharField(label="Name", max_length=120),
            "way": forms.ChoiceField(label="How it puts a coat on", choices=Equipment.Way.choices),
            **{shape.column: self._number(_ON[shape], 0) for shape in Shape},
            "cup_ml": self._number("The cup holds, in mL", 0, help_text="0 for a brush."),
            "loss_per_fill_ml": self._number("Lost at each filling, in mL", 0),
        }
        self.fields["name"].error_messages["required"] = "Give it a name."

    @property
    def helper(self) -> FormHelper:
        on = [shape.column for shape in Shape]
        return _helper(
            "name",
            "way",
            Fieldset("In % of what leaves the tool, this stays on", Row(*on)),
            Fieldset("Filling", Row("cup_ml", "loss_per_fill_ml")),
        )

    def facts(self) -> EquipmentFacts:
        return EquipmentFacts(
            name=self.cleaned_data["name"],
            way=self.cleaned_data["way"],
            transfer={shape: self.whole(shape.column) for shape in Shape},
            cup_ml=self.whole("cup_ml"),
            loss_per_fill_ml=self.whole("loss_per_fill_ml"),
        )


_ON = {
    Shape.CASE: "a case",
    Shape.TABLE: "a table",
    Shape.CHAIR: "a chair",
    Shape.BED: "a bed",
    Shape.BENCH: "a bench",
    Shape.FRAME: "a mirror frame",
    Shape.OTHER: "anything else",
}


class StepRateForm(BookForm):
    def __init__(self, *args: Any, rate: StepRate | None = None, **kwargs: Any) -> None:
        super().__init__(*args, initial=_kept(rate, StepRateFacts), **kwargs)
        self.fields = {
            "name": forms.CharField(label="What is done", max_length=120),
            "kind": forms.ChoiceField(label="Kind", choices=StepRate.Kind.choices),
            "minutes_per_m2": self._number("For each m²", 2),
            "minutes_per_drawer": self._number("For each drawer", 2),
            "minutes_per_door": self._number("For each door", 2),
            "minutes_per_piece": self._number("For each piece", 2),
            "minutes_once": self._number("Once", 2, help_text="However many pieces the set has."),
            "per_coat": forms.BooleanField(label="All of it again for each coat", required=False),
            "outlay_per_piece": self._money(
                "To be bought for each piece", help_text="A test kit, a key. Not what is in cans."
            ),
            "cautions": forms.CharField(
                label="To be minded at the bench", max_length=3000, required=False, widget=_text(2)
            ),
        }
        self.fields["name"].error_messages["required"] = "Give it a name."

    @property
    def helper(self) -> FormHelper:
        return _helper(
            "name",
            "kind",
            Fieldset(
                "Minutes",
                Row("minutes_per_m2", "minutes_per_drawer", "minutes_per_door"),
                Row("minutes_per_piece", "minutes_once"),
                "per_coat",
            ),
            Field("outlay_per_piece", wrapper_class="short"),
            "cautions",
        )

    def facts(self) -> StepRateFacts:
        typed = self.cleaned_data
        numbers = {name: self.number(name) for name in (*StepRate.MINUTES, "outlay_per_piece")}
        return StepRateFacts(
            name=typed["name"],
            kind=typed["kind"],
            per_coat=typed["per_coat"],
            cautions=typed["cautions"],
            **numbers,
        )


class UploadForm(forms.Form):
    """A CSV file, read as text."""

    say_needed = False
    file = forms.FileField(
        label="The file", widget=forms.ClearableFileInput(attrs={"accept": ".csv,text/csv"})
    )

    def clean_file(self) -> str:
        upload = self.cleaned_data["file"]
        if upload.size > sheets.MOST_BYTES:
            raise ValidationError("The file is larger than 5 MB; split it.")
        try:
            return sheets.text_of(upload.read())
        except ValueError as error:
            raise ValidationError(str(error)) from error

    @property
    def helper(self) -> FormHelper:
        return _helper("file")


def _kept(row: Any, facts: Any, skip: Sequence[str] = ()) -> dict[str, Any]:
    """The row's facts as a form shows them: whole numbers as `Decimal`, zeros of a new row as nothing."""
    names = [name for name in facts.__dataclass_fields__ if name not in skip]
    if row is None:
        return {"coats": Decimal(1)} if "coats" in names else {}
    values = {name: getattr(row, name) for name in names}
    return {
        name: Decimal(value)
        if type(value) is int
        else None
        if value == 0 and type(value) is Decimal
        else value
        for name, value in values.items()
    }
