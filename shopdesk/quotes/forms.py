"""The whole quote as one form of plain rows, and the small forms around it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

from babel.numbers import get_decimal_symbol
from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from shopdesk.commissions.letterhead import today_at
from shopdesk.commissions.models import Commission
from shopdesk.craft.pricing import Totals
from shopdesk.deposits.forms import MoneyField, day_input
from shopdesk.look.formats import known_locale
from shopdesk.quotes.models import Line, Quote
from shopdesk.quotes.sums import totals_typed
from shopdesk.quotes.typed import (
    MOST_LINES,
    MOST_OPTIONS,
    MOST_PIECES,
    Fault,
    TypedLine,
    TypedOption,
    TypedPiece,
    TypedQuote,
    faults,
)
from shopdesk.shop.models import Shop

STARTERS = (Line.Kind.PREPARATION, Line.Kind.FINISH, Line.Kind.MATERIALS)
"""The rows that a piece without lines begins with."""


class NumberField(forms.CharField):
    """A plain number as people write it (`2.5`, `2,5`, `50 %`), cleaned to a `Decimal` of at most `decimals`
    decimals."""

    def __init__(self, shop: Shop, *, decimals: int, most: int, **kwargs: Any) -> None:
        self.decimals, self.most = decimals, most
        self.mark = get_decimal_symbol(known_locale(shop.locale))
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=20, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        typed = str(super().clean(value) or "").replace(" ", "").replace("\u00a0", "").removesuffix("%")
        if not typed:
            return None
        if self.mark == "." and re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", typed):
            typed = typed.replace(",", "")
        try:
            number = Decimal(typed.replace(",", ".")) if re.fullmatch(r"-?[\d.,]+", typed, re.ASCII) else None
        except InvalidOperation:
            number = None
        if number is None:
            raise ValidationError("Write a number, such as 2 or 2.5.")
        if number < 0:
            raise ValidationError("Write a number without a minus sign.")
        if number > self.most:
            raise ValidationError(f"That is more than {self.most:,}; please check it.")
        if -int(number.normalize().as_tuple().exponent) > self.decimals:
            raise ValidationError(f"At most {self.decimals} decimals.")
        return number

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal):
            return value
        return f"{value.normalize():f}".replace(".", self.mark if self.mark in ".," else ".")


def _text(rows: int) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class HeadForm(forms.Form):
    """What belongs to the quote as a whole."""

    starts_on = forms.DateField(label="Work can start", required=False, widget=day_input())
    ready_on = forms.DateField(label="Ready about", required=False, widget=day_input())
    good_until = forms.DateField(label="Price good until", required=False, widget=day_input())
    note = forms.CharField(
        label="A few words before the figures", required=False, max_length=2000, widget=_text(2)
    )
    sample_promised = forms.BooleanField(
        label="They approve a sample before the first coat of colour", required=False
    )
    show_lines = forms.BooleanField(label="Show them your own lines", required=False)
    included = forms.CharField(
        label="Included", required=False, max_length=3000, widget=_text(3), help_text="One a line."
    )
    not_included = forms.CharField(
        label="Not included", required=False, max_length=3000, widget=_text(3), help_text="One a line."
    )
    terms = forms.CharField(label="Terms", required=False, max_length=10000, widget=_text(4))
    edition = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=1_000_000_000)
    say_needed = False

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        share = NumberField(shop, decimals=2, most=100, label="Deposit, in % of the total")
        share.error_messages["required"] = "Write 0 for no deposit."
        self.fields["deposit_share"] = share


class PieceForm(forms.Form):
    piece = forms.IntegerField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="Piece", max_length=160)
    words = forms.CharField(
        label="What you do to it, in words", required=False, max_length=6000, widget=_text(4)
    )
    say_needed = False


class LineForm(forms.Form):
    """A line's labels stand at the head of their column, so each field carries one of its own for those who
    listen."""

    say_needed = False

    def __init__(self, *args: Any, shop: Shop, currency: str, said: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {
            "text": forms.CharField(label="What", max_length=200),
            "kind": forms.ChoiceField(label="Kind", choices=Line.Kind.choices),
            "quantity": NumberField(shop, decimals=3, most=100_000, label="How many"),
            "unit": forms.CharField(label="Unit", max_length=20, required=False),
            "unit_price": MoneyField(shop, currency=currency, label="Price of one"),
            "taxable": forms.BooleanField(label="Taxed", required=False),
        }
        for one in self.fields.values():
            one.widget.attrs["aria-label"] = f"{one.label}, {said}"
        self.fields["text"].error_messages["required"] = "Say what it is for."
        self.fields["quantity"].error_messages["required"] = "How many?"
        self.fields["unit_price"].error_messages["required"] = "Write the price of one."


class OptionForm(forms.Form):
    say_needed = False

    def __init__(self, *args: Any, shop: Shop, currency: str, said: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {
            "text": forms.CharField(label="What they may tick", max_length=200),
            "price": MoneyField(shop, currency=currency, negative=True, label="Price"),
            "taxable": forms.BooleanField(label="Taxed", required=False),
        }
        for one in self.fields.values():
            one.widget.attrs["aria-label"] = f"{one.label}, {said}"
        self.fields["text"].error_messages["required"] = "Say what it is."
        self.fields["price"].error_messages["required"] = "Write its price."


@dataclass
class LineRow:
    key: str
    """ "0-2": the piece's key and the line's, as they stand in the field names."""
    form: LineForm
    blank: bool


@dataclass
class PieceRow:
    key: str
    form: PieceForm
    lines: list[LineRow] = field(default_factory=list)
    lead_caution: bool = False


@dataclass
class OptionRow:
    key: str
    form: OptionForm
    blank: bool


class QuoteSheet:
    """The one form of a quote: `head`, `pieces` with their `lines`, and `options`.

    Rows are named by keys (`pieces`, `lines`, `options` are hidden fields that list them), so that rows can
    be added and taken away without renaming the others. Rows in which nothing was written are left out.
    """

    def __init__(
        self, shop: Shop, quote: Quote, commission: Commission, data: QueryDict | None = None
    ) -> None:
        self.shop, self.quote = shop, quote
        self.commission_pieces = list(commission.pieces.all())
        self.said: list[str] = []
        """What is wrong with the whole."""
        self.newer_edition: int | None = None
        """What the draft is at by now, when somebody saved it meanwhile."""
        if data is None:
            self._from_rows()
        else:
            self._from_data(data, judged=True)

    # -- where it comes from -------------------------------------------------------------------------------

    def _from_rows(self) -> None:
        quote = self.quote
        names = [*HeadForm.base_fields, "deposit_share"]
        self.head = HeadForm(shop=self.shop, initial={name: getattr(quote, name) for name in names})
        self.pieces = []
        for key, piece in enumerate(quote.pieces.all()):
            row = self._piece(str(key), {"piece": piece.piece_id, "name": piece.name, "words": piece.words})
            for place, line in enumerate(piece.lines.all()):
                values = {name: getattr(line, name) for name in _LINE}
                row.lines.append(self._line(row, f"{key}-{place}", values))
            if not row.lines:
                row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
        self.options = [
            self._option(str(key), {name: getattr(option, name) for name in _OPTION})
            for key, option in enumerate(quote.options.all())
        ]

    def _from_data(self, data: QueryDict, *, judged: bool) -> None:
        """From what was posted; not `judged`, it is shown as it was typed without a word about mistakes."""
        raw_head = _raw(data, "", [*HeadForm.base_fields, "deposit_share"], ("sample_promised", "show_lines"))
        self.head = HeadForm(data if judged else None, shop=self.shop, initial=raw_head)
        line_keys = _keys(data, "lines", r"\d{1,4}-\d{1,4}", MOST_PIECES * MOST_LINES)
        self.pieces = []
        for key in _keys(data, "pieces", r"\d{1,4}", MOST_PIECES + 1):
            raw = _raw(data, f"piece-{key}-", ("piece", "name", "words"))
            row = self._piece(key, raw, data if judged else None)
            for line_key in [one for one in line_keys if one.startswith(f"{key}-")][: MOST_LINES + 1]:
                raw = _raw(data, f"line-{line_key}-", _LINE, ("taxable",))
                row.lines.append(self._line(row, line_key, raw, data if judged else None))
            self.pieces.append(row)
        self.options = []
        for key in _keys(data, "options", r"\d{1,4}", MOST_OPTIONS + 1):
            raw = _raw(data, f"option-{key}-", _OPTION, ("taxable",))
            self.options.append(self._option(key, raw, data if judged else None))

    def _piece(self, key: str, initial: dict[str, Any], data: QueryDict | None = None) -> PieceRow:
        form = PieceForm(data, prefix=f"piece-{key}", initial=initial)
        cautions = {str(piece.pk) for piece in self.commission_pieces if piece.lead_caution}
        return PieceRow(key, form, lead_caution=str(initial.get("piece")) in cautions)

    def _line(
        self, piece: PieceRow, key: str, initial: dict[str, Any], data: QueryDict | None = None
    ) -> LineRow:
        blank = not (
            initial.get("text") or initial.get("unit") or initial.get("unit_price") not in ("", None)
        )
        said = f"line {len(piece.lines) + 1} of piece {int(piece.key) + 1}"
        form = LineForm(
            None if blank else data,
            prefix=f"line-{key}",
            initial=initial,
            shop=self.shop,
            currency=self.quote.currency,
            said=said,
        )
        return LineRow(key, form, blank)

    def _starter(self, piece: PieceRow, place: int, kind: str) -> LineRow:
        taxed = True if kind == Line.Kind.MATERIALS else self.shop.tax_labour
        return self._line(
            piece, f"{piece.key}-{place}", {"kind": kind, "quantity": Decimal(1), "taxable": taxed}
        )

    def _option(self, key: str, initial: dict[str, Any], data: QueryDict | None = None) -> OptionRow:
        blank = not (initial.get("text") or initial.get("price") not in ("", None))
        form = OptionForm(
            None if blank else data,
            prefix=f"option-{key}",
            initial=initial,
            shop=self.shop,
            currency=self.quote.currency,
            said=f"option {len(getattr(self, 'options', [])) + 1}",
        )
        return OptionRow(key, form, blank)

    # -- adding and taking away rows -----------------------------------------------------------------------

    PRESSES = ("add_line", "remove_line", "add_option", "remove_option", "add_piece", "remove_piece")

    @classmethod
    def is_press(cls, data: Mapping[str, Any]) -> bool:
        return any(name in data for name in cls.PRESSES)

    def press(self, data: QueryDict) -> None:
        """Add or take away the row that a press names; everything typed stays as it is, right or wrong."""
        self._from_data(data, judged=False)
        name = next(name for name in self.PRESSES if name in data)
        getattr(self, f"_{name}")(data.get(name, ""))

    def _add_line(self, value: str) -> None:
        key, _, kind = value.partition(" ")
        for piece in self.pieces:
            if piece.key == key and len(piece.lines) < MOST_LINES:
                place = _next([line.key.partition("-")[2] for line in piece.lines])
                piece.lines.append(
                    self._starter(piece, place, kind if kind in Line.Kind.values else Line.Kind.OTHER)
                )
                self._look_at(piece.lines[-1].form, "text")

    def _remove_line(self, value: str) -> None:
        for piece in self.pieces:
            piece.lines = [line for line in piece.lines if line.key != value]

    def _add_option(self, _value: str) -> None:
        if len(self.options) < MOST_OPTIONS:
            key = str(_next([option.key for option in self.options]))
            self.options.append(self._option(key, {"taxable": self.shop.tax_labour}))
            self._look_at(self.options[-1].form, "text")

    def _remove_option(self, value: str) -> None:
        self.options = [option for option in self.options if option.key != value]

    def _add_piece(self, value: str) -> None:
        if len(self.pieces) < MOST_PIECES:
            known = {str(piece.pk): piece for piece in self.commission_pieces}.get(value)
            row = self._piece(
                str(_next([piece.key for piece in self.pieces])),
                {"piece": known.pk, "name": known.name} if known else {},
            )
            row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
            self._look_at(row.form, "words" if known else "name")

    def _remove_piece(self, value: str) -> None:
        self.pieces = [piece for piece in self.pieces if piece.key != value]

    @staticmethod
    def _look_at(form: forms.Form, name: str) -> None:
        form.fields[name].widget.attrs["autofocus"] = True

    @property
    def left_out(self) -> list[Any]:
        """Pieces of the commission that are not in this quote."""
        here = {str(row.form["piece"].value()) for row in self.pieces}
        return [piece for piece in self.commission_pieces if str(piece.pk) not in here]

    # -- what it says --------------------------------------------------------------------------------------

    def _forms(self) -> Iterator[forms.Form]:
        yield self.head
        for piece in self.pieces:
            yield piece.form
            yield from (line.form for line in piece.lines if not line.blank)
        yield from (option.form for option in self.options if not option.blank)

    def is_valid(self) -> bool:
        """Whether it can be kept as a draft. If not, the mistakes stand beside their fields."""
        right = not [form for form in self._forms() if not form.is_valid()]
        if right:
            for fault in faults(self.typed(), self.quote.currency, today_at(self.shop)):
                self.blame(fault)
                right = False
        given = False
        for form in self._forms():
            form.focus_given = given  # type: ignore[attr-defined]  # read by the tag that draws a field
            given = given or bool(form.errors)
        return right

    def blame(self, fault: Fault) -> None:
        """Put a mistake beside its field."""
        form: forms.Form = self.head
        if fault.option is not None:
            form = [option.form for option in self.options if not option.blank][fault.option]
        elif fault.piece is not None:
            row = self.pieces[fault.piece]
            form = (
                row.form
                if fault.line is None
                else [one.form for one in row.lines if not one.blank][fault.line]
            )
        if fault.field in form.fields:
            form.add_error(fault.field, fault.sentence)
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
        return sum(len(form.errors) for form in self._forms() if form.is_bound) + len(self.said)

    def typed(self) -> TypedQuote:
        """What was typed, once every field could be read."""
        head = {name: value for name, value in self.head.cleaned_data.items() if name != "edition"}
        return TypedQuote(
            pieces=[
                TypedPiece(
                    name=row.form.cleaned_data["name"],
                    words=row.form.cleaned_data["words"],
                    piece_id=row.form.cleaned_data["piece"],
                    lines=[TypedLine(**line.form.cleaned_data) for line in row.lines if not line.blank],
                )
                for row in self.pieces
            ],
            options=[TypedOption(**option.form.cleaned_data) for option in self.options if not option.blank],
            **head,
        )

    def sums(self) -> tuple[Totals, Totals | None, int]:
        """What can be read so far, added up: with nothing ticked, with everything ticked (where there are
        options), and how many rows could not be counted. Raises `ValueError` with a sentence."""
        lines = [[_countable(row.form) for row in piece.lines if not row.blank] for piece in self.pieces]
        rows = [option.form for option in self.options if not option.blank]
        prices = [(_read(form, "price"), bool(_read(form, "taxable"))) for form in rows]
        pieces = [[line for line in piece if line is not None] for piece in lines]
        options = [(price, taxable) for price, taxable in prices if price is not None]
        uncounted = sum(len(all_) - len(read) for all_, read in zip(lines, pieces, strict=True))
        uncounted += len(prices) - len(options)
        share = self.share
        plain = totals_typed(self.quote, pieces, [], share)
        return plain, totals_typed(self.quote, pieces, options, share) if options else None, uncounted

    @property
    def share(self) -> Decimal:
        """The deposit's share as typed, or as kept while it cannot be read."""
        share: Decimal | None = _read(self.head, "deposit_share")
        return self.quote.deposit_share if share is None else share


_LINE = ("kind", "text", "quantity", "unit", "unit_price", "taxable")
_OPTION = ("text", "price", "taxable")


def _read(form: forms.Form, name: str) -> Any:
    """What stands in a field, whether it was typed just now or kept before; `None` while it cannot be
    read."""
    try:
        return form.fields[name].clean(form[name].value())
    except ValidationError:
        return None


def _countable(form: LineForm) -> TypedLine | None:
    quantity, price = _read(form, "quantity"), _read(form, "unit_price")
    if quantity is None or price is None:
        return None
    return TypedLine("other", "", price, quantity, "", bool(_read(form, "taxable")))


def _keys(data: QueryDict, name: str, shape: str, most: int) -> list[str]:
    return [key for key in dict.fromkeys(data.getlist(name)) if re.fullmatch(shape, key, re.ASCII)][:most]


def _raw(data: QueryDict, prefix: str, names: Any, ticks: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        name: f"{prefix}{name}" in data if name in ticks else data.get(f"{prefix}{name}", "")
        for name in names
    }


def _next(keys: list[str]) -> int:
    return max((int(key) for key in keys), default=-1) + 1
