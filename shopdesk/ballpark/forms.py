"""What each piece is, and the two ends of the range."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict

from shopdesk.ballpark.actions import LONGEST
from shopdesk.ballpark.reckoning import Chosen
from shopdesk.ballpark.sizes import SIZES, USUAL, kind_of, size_of
from shopdesk.commissions.models import Piece
from shopdesk.pricebook.models import Schedule, Shape
from shopdesk.pricebook.queries import Snapshot, snapshot
from shopdesk.shop.fields import MoneyField
from shopdesk.shop.models import Shop


class PieceForm(forms.Form):
    """One piece: its kind, its size, and how it would be done."""

    kind = forms.ChoiceField(label="Kind", choices=Shape.choices)
    size = forms.ChoiceField(label="Size", choices=[(size, size) for size in SIZES])
    schedule = forms.ChoiceField(label="Finish", required=False)

    def __init__(
        self, data: QueryDict | None, *, piece: Piece, schedules: Sequence[Schedule], **kwargs: Any
    ) -> None:
        kind = kind_of(piece.name)
        size = size_of(kind, piece.width_mm, piece.depth_mm, piece.height_mm) or USUAL
        first = str(schedules[0].pk) if len(schedules) == 1 else ""  # a finish is not guessed
        kwargs["initial"] = {"kind": kind, "size": size, "schedule": first}
        super().__init__(data, prefix=f"piece-{piece.pk}", **kwargs)
        self.piece = piece
        self.schedules = {str(one.pk): one for one in schedules}
        field = self.fields["schedule"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "not known yet"), *((key, one.name) for key, one in self.schedules.items())]

    def chosen(self) -> Chosen:
        """What was chosen; what the piece's name and sizes suggest before anything was."""
        typed = self.cleaned_data if self.is_bound else self.initial
        one = self.schedules.get(str(typed["schedule"]))
        book: Snapshot | None = snapshot(one) if one else None
        return Chosen(
            name=self.piece.name,
            count=self.piece.count,
            kind=str(typed["kind"]),
            size=str(typed["size"]),
            schedule=book,
            lead=self.piece.lead_caution,
        )


class RangeForm(forms.Form):
    words = forms.CharField(
        label="In your own words, if you like",
        required=False,
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="They stand under the range.",
    )

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {
            "low": MoneyField(shop, label=f"From, in {shop.currency}"),
            "high": MoneyField(shop, label=f"To, in {shop.currency}"),
            **self.fields,
        }

    @property
    def ends(self) -> tuple[Decimal, Decimal] | None:
        """The two ends as typed, once both can be read."""
        low, high = self.cleaned_data.get("low"), self.cleaned_data.get("high")
        return (low, high) if low is not None and high is not None else None
