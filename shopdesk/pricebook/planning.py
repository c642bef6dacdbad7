"""A schedule as one form of plain rows: steps are added, taken away and moved by presses."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict

from shopdesk.pricebook.models import Equipment, Faces, Material, Schedule, ScheduleStep, StepRate
from shopdesk.pricebook.typed import MOST_STEPS, Fault, ScheduleFacts, StepFacts, grits_in_order
from shopdesk.shop.fields import NumberField
from shopdesk.shop.models import Shop

_STEP = ("rate", "material", "equipment", "coats", "grit", "note", "only_if")


class HeadForm(forms.Form):
    say_needed = False
    name = forms.CharField(label="Name", max_length=120, error_messages={"required": "Give it a name."})
    for_what = forms.CharField(label="When to choose it", max_length=300, required=False)
    words = forms.CharField(
        label="What the client reads of the work", max_length=6000, required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )  # fmt: skip
    edition = forms.IntegerField(
        widget=forms.HiddenInput, required=False, min_value=0, max_value=1_000_000_000
    )


@dataclass(frozen=True)
class Choices:
    """What a step may name: (id, name) of everything in use, and of what this schedule names already."""

    rates: list[tuple[str, str]]
    materials: list[tuple[str, str]]
    equipment: list[tuple[str, str]]
    kinds: dict[str, str]
    """Of the materials, by id as text."""


def choices_for(schedule: Schedule | None) -> Choices:
    """Three statements."""
    named: dict[str, set[int | None]] = {"rate": set(), "material": set(), "equipment": set()}
    if schedule is not None:
        for step in schedule.steps.all():
            for name, ids in named.items():
                ids.add(getattr(step, f"{name}_id"))

    def of(model: type[StepRate | Material | Equipment], name: str) -> list[Any]:
        return [row for row in model._default_manager.all() if row.in_use or row.pk in named[name]]

    def listed(rows: Iterable[Any]) -> list[tuple[str, str]]:
        return [(str(row.pk), row.name if row.in_use else f"{row.name} (out of use)") for row in rows]

    materials = of(Material, "material")
    return Choices(
        listed(of(StepRate, "rate")),
        listed(materials),
        listed(of(Equipment, "equipment")),
        {str(row.pk): row.kind for row in materials},
    )


class StepForm(forms.Form):
    say_needed = False

    def __init__(
        self, data: QueryDict | None, *, key: str, shop: Shop, choices: Choices, initial: dict[str, Any]
    ) -> None:
        super().__init__(data, prefix=f"step-{key}", initial=initial)
        self.fields = {
            "rate": forms.ChoiceField(label="What is done", choices=[("", "Choose"), *choices.rates]),
            "material": forms.ChoiceField(
                label="With what material", required=False, choices=[("", "None"), *choices.materials]
            ),
            "equipment": forms.ChoiceField(
                label="Put on with", required=False, choices=[("", "By hand"), *choices.equipment]
            ),
            "coats": NumberField(shop, decimals=0, most=100_000_000, label="Coats", required=False),
            "grit": forms.CharField(label="Grit", max_length=20, required=False),
            "faces": forms.MultipleChoiceField(
                label="On which faces (none ticked: all)", required=False, choices=Faces.choices,
                widget=forms.CheckboxSelectMultiple,
            ),
            "note": forms.CharField(label="Note", max_length=300, required=False),
            "only_if": forms.ChoiceField(
                label="When", required=False, choices=ScheduleStep.OnlyIf.choices
            ),
        }  # fmt: skip
        self.fields["rate"].error_messages["required"] = "Say which step."
        for name in ("rate", "material", "equipment"):
            self.fields[name].error_messages["invalid_choice"] = "That is no longer in the price book."

    def facts(self) -> StepFacts:
        typed = self.cleaned_data

        def chosen(name: str) -> int | None:
            return int(typed[name]) if typed[name] else None

        coats: Decimal | None = typed["coats"]
        return StepFacts(
            rate=chosen("rate"),
            material=chosen("material"),
            equipment=chosen("equipment"),
            coats=1 if coats is None else int(coats),
            grit=" ".join(typed["grit"].split()),
            faces=[face for face in Faces.values if face in typed["faces"]],
            note=typed["note"],
            only_if=typed["only_if"],
        )


@dataclass
class StepRow:
    key: str
    form: StepForm
    choices: Choices
    opened: bool = False
    """Was just added, or has a mistake: its fields are shown at once."""

    @property
    def words(self) -> str:
        """What the row says while it is folded: "Spray a coat, 3 coats of Premium enamel"."""
        value = {name: str(self.form[name].value() or "") for name in _STEP}
        parts = [dict(self.choices.rates).get(value["rate"], "A new step")]
        material = dict(self.choices.materials).get(value["material"], "")
        coats = value["coats"]
        if coats not in ("", "1"):
            parts.append(f"{coats} coats{f' of {material}' if material else ''}")
        elif material:
            parts.append(material)
        if value["grit"]:
            parts.append(f"grit {value['grit']}")
        if value["only_if"] == ScheduleStep.OnlyIf.LEAD:
            parts.append("only where lead is likely")
        return ", ".join(parts)


class Plan:
    """The one form of a schedule: `head` and `steps`. Rows are named by keys (hidden fields `steps`), so that
    they can come, go and move without renaming the others."""

    PRESSES = ("add_step", "remove_step", "step_up", "step_down")
    # Not "remove": a button of that name would stand in the way of the form element's own method.

    def __init__(self, shop: Shop, schedule: Schedule | None, data: QueryDict | None = None) -> None:
        self.shop, self.schedule = shop, schedule
        self.choices = choices_for(schedule)
        self.said: list[str] = []
        """What is wrong with the whole."""
        self.newer_edition: int | None = None
        """What it is at by now, when somebody saved it meanwhile."""
        self.steps: list[StepRow] = []
        if data is None:
            self._from_rows()
        else:
            self._from_data(data, judged=not self.is_press(data))
            if self.is_press(data):
                self._press(data)

    @classmethod
    def is_press(cls, data: QueryDict) -> bool:
        return any(name in data for name in cls.PRESSES)

    def _from_rows(self) -> None:
        kept = self.schedule
        names = ("name", "for_what", "words", "edition")
        self.head = HeadForm(initial={name: getattr(kept, name) for name in names} if kept else {})
        for key, step in enumerate(kept.steps.all() if kept else ()):
            self.steps.append(
                self._row(
                    str(key),
                    {
                        "rate": str(step.rate_id),
                        "material": str(step.material_id or ""),
                        "equipment": str(step.equipment_id or ""),
                        "coats": Decimal(step.coats),
                        "grit": step.grit,
                        "faces": step.faces,
                        "note": step.note,
                        "only_if": step.only_if,
                    },
                )
            )

    def _from_data(self, data: QueryDict, *, judged: bool) -> None:
        """From what was posted; not `judged`, it is shown as typed without a word about mistakes."""
        raw = {name: data.get(name, "") for name in HeadForm.base_fields}
        self.head = HeadForm(data if judged else None, initial=raw)
        keys = [
            key for key in dict.fromkeys(data.getlist("steps")) if re.fullmatch(r"\d{1,4}", key, re.ASCII)
        ]
        for key in keys[: MOST_STEPS + 1]:
            initial: dict[str, Any] = {name: data.get(f"step-{key}-{name}", "") for name in _STEP}
            initial["faces"] = data.getlist(f"step-{key}-faces")
            self.steps.append(self._row(key, initial, data if judged else None))

    def _row(self, key: str, initial: dict[str, Any], data: QueryDict | None = None) -> StepRow:
        form = StepForm(data, key=key, shop=self.shop, choices=self.choices, initial=initial)
        return StepRow(key, form, self.choices)

    def _press(self, data: QueryDict) -> None:
        name = next(name for name in self.PRESSES if name in data)
        key = data.get(name, "")
        place = next((place for place, row in enumerate(self.steps) if row.key == key), None)
        if name == "add_step" and len(self.steps) < MOST_STEPS:
            fresh = str(max((int(row.key) for row in self.steps), default=-1) + 1)
            row = self._row(fresh, {"coats": Decimal(1)})
            row.opened = True
            row.form.fields["rate"].widget.attrs["autofocus"] = True
            self.steps.insert(len(self.steps) if place is None else place + 1, row)
        elif place is None:
            return
        elif name == "remove_step":
            del self.steps[place]
        elif name == "step_up" and place > 0:
            self.steps.insert(place - 1, self.steps.pop(place))
        elif name == "step_down" and place < len(self.steps) - 1:
            self.steps.insert(place + 1, self.steps.pop(place))

    # -- what it says --------------------------------------------------------------------------------------

    def is_valid(self) -> bool:
        sound = self.head.is_valid()
        for row in self.steps:
            if not row.form.is_valid():
                sound, row.opened = False, True
        return sound

    def facts(self) -> ScheduleFacts:
        typed = self.head.cleaned_data
        steps = [row.form.facts() for row in self.steps]
        return ScheduleFacts(typed["name"], typed["for_what"], typed["words"], steps)

    def blame(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            if fault.row is not None:
                row = self.steps[fault.row]
                row.opened = True
                row.form.add_error(fault.field, fault.sentence)
            elif fault.field in self.head.fields:
                self.head.add_error(fault.field, fault.sentence)
            else:
                self.said.append(fault.sentence)

    @property
    def edition(self) -> int:
        """The edition that a next press of Keep replaces."""
        if self.newer_edition is not None:
            return self.newer_edition
        written = str(self.head["edition"].value() or "")
        return int(written) if written.isascii() and written.isdigit() else 0

    @property
    def mistakes(self) -> int:
        forms_ = [self.head, *[row.form for row in self.steps]]
        return sum(len(form.errors) for form in forms_ if form.is_bound)

    @property
    def warnings(self) -> list[str]:
        """What a finisher would ask about; it can be kept all the same."""
        pairs = [
            (
                str(row.form["grit"].value() or ""),
                self.choices.kinds.get(str(row.form["material"].value()), ""),
            )
            for row in self.steps
        ]
        return grits_in_order(pairs)
