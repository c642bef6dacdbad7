"""Form fields for what people write about a piece: words, a phone number, a length."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Literal

from django import forms
from django.core.exceptions import ValidationError

from shopdesk.craft.units import parse_length_mm
from shopdesk.intake.words import many_lines, one_line, phone_digits

_TENTHS = Decimal("0.01")
FEWEST_DIGITS = 6
"""Common practice, no source: shorter numbers are for emergencies and services."""
MOST_DIGITS = 15
"""ITU-T E.164: an international number has fifteen digits at most."""
FURTHEST_YEARS = 5


class Line(forms.CharField):
    """One line. What is too long is kept in the form and said to be too long; the browser must not cut it
    off silently."""

    tidy = staticmethod(one_line)

    def __init__(self, *, most: int, **kwargs: Any) -> None:
        super().__init__(strip=False, **kwargs)
        self.most = most

    def to_python(self, value: Any) -> str:
        return self.tidy(str(value or ""))

    def validate(self, value: str) -> None:
        super().validate(value)
        if len(value) > self.most:
            raise ValidationError(
                f"That is {len(value):,} characters long, and we can take {self.most:,}. "
                "Please shorten it; what you wrote is still here."
            )


class Lines(Line):
    """Several lines."""

    widget = forms.Textarea
    tidy = staticmethod(many_lines)

    def __init__(self, *, most: int = 5000, rows: int = 4, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": rows}))
        super().__init__(most=most, **kwargs)


class Phone(Line):
    """A phone number as people write it."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault(
            "widget", forms.TextInput(attrs={"type": "tel", "autocomplete": "tel", "inputmode": "tel"})
        )
        super().__init__(most=40, **kwargs)

    def validate(self, value: str) -> None:
        super().validate(value)
        digits = phone_digits(value)
        if value and (digits is None or not FEWEST_DIGITS <= digits <= MOST_DIGITS):
            raise ValidationError(
                "We could not call that number. Please write it with its area code, such as 555-0142."
            )


class Address(forms.EmailField):
    """An email address."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"}))
        super().__init__(
            max_length=254,
            error_messages={
                "invalid": "We could not write to that address. Please check it, such as name@example.com.",
                "max_length": "That is too long to be an email address; please check it.",
            },
            **kwargs,
        )
        self.widget.attrs.pop("maxlength", None)

    def to_python(self, value: Any) -> str:
        return str(super().to_python(one_line(str(value or ""))))


class Length(forms.CharField):
    """A length as people write it, cleaned to millimetres (to the hundredth) or None. `unit` holds where
    none is written."""

    unit: Literal["in", "cm"] = "in"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)

    def clean(self, value: Any) -> Decimal | None:
        text = one_line(str(value or ""))
        if not text:
            return None
        try:
            return parse_length_mm(text, self.unit).quantize(_TENTHS, ROUND_HALF_UP)
        except ValueError as error:
            raise ValidationError(str(error)) from error


class DayToCome(forms.DateField):
    """A day from today on. `today` is the shop's."""

    today: date

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            required=False,
            widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            input_formats=[
                "%Y-%m-%d",
                "%d %B %Y",
                "%d %b %Y",
                "%B %d, %Y",
                "%B %d %Y",
                "%b %d, %Y",
                "%d.%m.%Y",
            ],
            error_messages={
                "invalid": "We could not read that day. Please write it like 2030-05-17, or leave it empty."
            },
            **kwargs,
        )

    def to_python(self, value: Any) -> date | None:
        return super().to_python(one_line(value) if isinstance(value, str) else value)

    def validate(self, value: date | None) -> None:
        super().validate(value)
        if value is None:
            return
        if value < self.today:
            raise ValidationError("That day has passed. Choose one that is still to come, or leave it empty.")
        if value.year > self.today.year + FURTHEST_YEARS:
            raise ValidationError("That is many years away; please check the year, or leave it empty.")
