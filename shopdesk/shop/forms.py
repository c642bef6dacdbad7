"""Signing in, setting up, the shop's facts and its hours, as somebody types them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import time
from decimal import Decimal
from typing import Any, cast

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Field, Fieldset, Layout, Row
from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from shopdesk.craft import bank
from shopdesk.craft.slots import Window
from shopdesk.shop.actions import ShopFacts
from shopdesk.shop.hours import Span, parse_hours, show_hours
from shopdesk.shop.models import SLOT_MINUTES, Shop, User
from shopdesk.shop.places import currency_choices, locale_choices, zone_choices, zones

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
USUAL_HOURS = "9:00–12:00, 13:00–17:00"
STARTER_TERMS = """\
The deposit books your place in the queue and is part of the price. The rest is due at hand-over.
If hidden damage or an old finish makes more work, we show you pictures and a price, and go on once you agree.
Old pieces carry marks. We write down those that are there; they stay unless the quote says otherwise.
The colour is the one of the sample that you approved. Wood and light differ, so small differences remain.
If you cancel before work has begun, you get the deposit back, less materials that we bought for you.
If you cancel later, the work done so far is due.
We tell you when the piece is ready. What has not been collected 30 days later may cost storage.
If our work fails within a year in ordinary use, we put it right."""


def _helper(*layout: Any) -> FormHelper:
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True  # the template writes the token, beside the submission key
    helper.layout = Layout(*layout)
    return helper


def _short(name: str) -> Field:
    return Field(name, wrapper_class="short")


class PercentField(forms.CharField):
    """A share in percent as people write it, "6.25", "6,25 %", to a `Decimal` with at most `places`
    decimals."""

    def __init__(self, *, most: Decimal, places: int, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)
        self.most, self.places = most, places
        self.widget.attrs["inputmode"] = "decimal"

    def clean(self, value: Any) -> Any:
        typed = super().clean(value).removesuffix("%").strip().replace(",", ".")
        if not typed:
            return Decimal(0)
        digits = typed.replace(".", "", 1)
        if not (digits.isascii() and digits.isdigit()):
            raise ValidationError("Write a number, such as 6.25.")
        share = Decimal(typed)
        if share > self.most:
            raise ValidationError(f"That is more than {self.most} percent.")
        if -int(share.as_tuple().exponent) > self.places:
            raise ValidationError(f"Write at most {self.places} decimals.")
        return share

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class IbanField(forms.CharField):
    """An IBAN as people write it, in groups or not, to its letters and digits."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=60, **kwargs)
        self.widget.attrs.update(autocomplete="off", autocapitalize="characters", spellcheck="false")

    def clean(self, value: Any) -> Any:
        typed = super().clean(value)
        try:
            return bank.check_iban(typed) if typed else ""
        except ValueError as error:
            raise ValidationError(str(error)) from error

    def prepare_value(self, value: Any) -> Any:
        """What is kept in groups of four, as it is printed on paper; what was typed wrong as it was typed."""
        try:
            return bank.print_iban(value) if value else value
        except ValueError:
            return value


class BicField(forms.CharField):
    """A BIC of 8 or 11 letters and digits."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)
        self.widget.attrs.update(autocomplete="off", autocapitalize="characters", spellcheck="false")

    def clean(self, value: Any) -> Any:
        typed = super().clean(value)
        try:
            return bank.check_bic(typed) if typed else ""
        except ValueError as error:
            raise ValidationError(str(error)) from error


class HoursField(forms.CharField):
    """The hours of one day → its spans (`shop.hours`)."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=120, required=False, **kwargs)

    def clean(self, value: Any) -> Any:
        try:
            return parse_hours(super().clean(value))
        except ValueError as error:
            raise ValidationError(str(error)) from error


class SignInForm(forms.Form):
    say_needed = False
    email = forms.EmailField(label="Email", widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label="Password",
        max_length=4096,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    @property
    def helper(self) -> FormHelper:
        return _helper("email", "password")


class ShopForm(forms.Form):
    """Everything that can be said of the shop but its hours. `sections` says which fields stand together."""

    name = forms.CharField(label="Name of the shop", max_length=120)
    tagline = forms.CharField(
        label="What you do, in one line",
        max_length=160,
        required=False,
        help_text="It stands under the name on quotes.",
    )
    address = forms.CharField(
        label="Address", max_length=500,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "street-address"}),
        help_text="As on an envelope. Clients bring their pieces here.",
    )  # fmt: skip
    email = forms.EmailField(
        label="Email of the shop", help_text="Clients see it, and their answers go there."
    )
    phone = forms.CharField(
        label="Phone",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )
    zone = forms.ChoiceField(label="Time zone", help_text="The town nearest to you that keeps the same time.")
    locale = forms.ChoiceField(label="How money and dates are written")
    currency = forms.ChoiceField(label="Currency")
    units = forms.ChoiceField(label="Sizes are shown in", choices=Shop.Units.choices)
    paper = forms.ChoiceField(
        label="Paper", choices=Shop.Paper.choices, help_text="What quotes and receipts are printed on."
    )
    tax_name = forms.CharField(label="Name of the tax", max_length=40, help_text="“Sales tax” or “VAT”.")
    tax_rate = PercentField(
        label="Rate in percent",
        most=Decimal("99.9999"),
        places=4,
        required=False,
        help_text="0 if you charge none.",
    )
    tax_basis = forms.ChoiceField(
        label="Rounded",
        choices=Shop.TaxBasis.choices,
        help_text="One or the other throughout: ask your accountant.",
    )
    tax_labour = forms.BooleanField(
        label="Labour is taxed as well",
        required=False,
        help_text="Materials are. What holds where you are: ask your accountant.",
    )
    tax_number = forms.CharField(
        label="Tax number", max_length=60, required=False, help_text="If quotes have to show one."
    )
    charges_vat = forms.BooleanField(
        label="Each payment gets a VAT invoice", required=False,
        help_text="For shops that charge VAT: what is paid ahead of the invoice is split into net and VAT.",
    )  # fmt: skip
    bank_name = forms.CharField(label="Bank", max_length=120, required=False)
    bank_holder = forms.CharField(
        label="Account holder", max_length=70, required=False, help_text="If it is not the shop's name."
    )
    iban = IbanField(label="IBAN", required=False, help_text="Where there is one.")
    bic = BicField(label="BIC", required=False)
    bank_words = forms.CharField(
        label="How to transfer money", max_length=1000, required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Where there is no IBAN: routing and account number, one a line.",
    )  # fmt: skip
    deposit_share = PercentField(
        label="Deposit in percent", most=Decimal(100), places=2, required=False,
        help_text="Of the total. Half is common practice.",
    )  # fmt: skip
    terms = forms.CharField(
        label="Terms", max_length=20000, required=False, widget=forms.Textarea(attrs={"rows": 8}),
        help_text="They go out with every quote. Have them read by somebody who knows your local law.",
    )  # fmt: skip
    included = forms.CharField(
        label="What is included", max_length=4000, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text="One a line. A new quote starts with these.",
    )  # fmt: skip
    not_included = forms.CharField(
        label="What is not included", max_length=4000, required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="One a line.",
    )  # fmt: skip
    show_lines = forms.BooleanField(
        label="Show clients the lines of a quote", required=False,
        help_text="Otherwise they see a price a piece; your hours and materials stay with you.",
    )  # fmt: skip
    good_for_days = forms.IntegerField(
        label="A quote is good for", min_value=1, max_value=365, help_text="Days."
    )
    remind_days = forms.IntegerField(
        label="Reminder before that", min_value=0, max_value=60, help_text="Days; 0 for none."
    )
    answer_in_days = forms.IntegerField(
        label="You answer a request within",
        min_value=1,
        max_value=30,
        help_text="Working days. Clients are told.",
    )
    quiet_from = forms.TimeField(
        label="Quiet from",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="From then on, news and reminders wait. Quotes, receipts, times and answers never do.",
    )
    quiet_until = forms.TimeField(
        label="Quiet until",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Then they go out. The same time twice: there are no quiet hours.",
    )
    slot_minutes = forms.TypedChoiceField(
        label="A visit takes",
        coerce=int,
        choices=[(minutes, f"{minutes} minutes") for minutes in SLOT_MINUTES],
    )
    notice_hours = forms.IntegerField(
        label="Notice in hours", min_value=0, max_value=336,
        help_text="Clients book, move and cancel at least this long before.",
    )  # fmt: skip
    book_days_ahead = forms.IntegerField(
        label="Booked ahead at most", min_value=1, max_value=180, help_text="Days."
    )

    sections: Sequence[tuple[str, Sequence[Any]]] = (
        ("The shop", ("name", "tagline", "address", "email", "phone")),
        ("Where it is", ("zone", "locale", "currency", Row("units", "paper"))),
        (
            "Tax",
            (Row("tax_name", "tax_rate", "tax_basis"), "tax_labour", "charges_vat", _short("tax_number")),
        ),
        (
            "Quotes",
            (
                Row("deposit_share", "answer_in_days"),
                Row("good_for_days", "remind_days"),
                "terms",
                "included",
                "not_included",
                "show_lines",
            ),
        ),
        (
            "Bank transfer",
            (Row("bank_name", "bank_holder"), "iban", _short("bic"), "bank_words"),
        ),
        ("Drop-off and pickup", (Row("slot_minutes", "notice_hours", "book_days_ahead"),)),
        ("Emails", (Row("quiet_from", "quiet_until"),)),
    )

    def __init__(self, *args: Any, country: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, choices in (
            ("zone", [("", "Choose a town"), *zone_choices(country)]),
            ("locale", locale_choices()),
            ("currency", currency_choices()),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            # What is kept already stays a choice, should it be none of the usual ones.
            kept = self.initial.get(name)
            known = zones() if name == "zone" else {value for value, _ in choices}
            field.choices = [*choices, (kept, kept)] if kept and kept not in known else choices

    @property
    def helper(self) -> FormHelper:
        return _helper(*(Fieldset(head, *fields) for head, fields in self.sections))

    def facts(self) -> ShopFacts:
        """What was typed, as `shop.actions` takes it."""
        columns = ShopFacts.__annotations__.keys() & self.fields.keys()
        return cast(ShopFacts, {name: self.cleaned_data[name] for name in columns})


class SetUpForm(ShopForm):
    """The shop, its hours and its owner, on the first day."""

    code = forms.CharField(
        label="Code", max_length=40, help_text="It stands in the terminal in which the shop was started.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )  # fmt: skip
    owner = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    login = forms.EmailField(
        label="Your email",
        help_text="You sign in with it.",
        widget=forms.EmailInput(attrs={"autocomplete": "username"}),
    )
    password = forms.CharField(
        label="Password", max_length=4096, strip=False,
        help_text="Ten characters at least; a short sentence is good.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )  # fmt: skip
    password_again = forms.CharField(
        label="Password, once more", max_length=4096, strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )  # fmt: skip
    hours_0 = HoursField(
        label=WEEKDAYS[0], initial=USUAL_HOURS, help_text="As 9:00–12:00, 13:00–17:00. Empty: closed."
    )
    hours_1 = HoursField(label=WEEKDAYS[1], initial=USUAL_HOURS)
    hours_2 = HoursField(label=WEEKDAYS[2], initial=USUAL_HOURS)
    hours_3 = HoursField(label=WEEKDAYS[3], initial=USUAL_HOURS)
    hours_4 = HoursField(label=WEEKDAYS[4], initial=USUAL_HOURS)
    hours_5 = HoursField(label=WEEKDAYS[5])
    hours_6 = HoursField(label=WEEKDAYS[6])

    included = not_included = show_lines = good_for_days = answer_in_days = book_days_ahead = None  # type: ignore[assignment]
    remind_days = quiet_from = quiet_until = None  # type: ignore[assignment]
    bank_name = bank_holder = iban = bic = bank_words = None  # type: ignore[assignment]

    sections = (
        ("The code", (_short("code"),)),
        ("You", ("owner", "login", "password", "password_again")),
        *ShopForm.sections[:3],
        ("Drop-off and pickup", (*(f"hours_{day}" for day in range(7)), Row("slot_minutes", "notice_hours"))),
        ("Quotes", (_short("deposit_share"), "terms")),
    )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        password = typed.get("password")
        if password is not None:
            if "password_again" in typed and typed["password_again"] != password:
                self.add_error("password_again", "The two are not the same.")
            try:
                validate_password(password, User(email=typed.get("login", ""), name=typed.get("owner", "")))
            except ValidationError as error:
                self.add_error("password", error)
        return typed

    def hours(self) -> list[Window]:
        return week_of(self.cleaned_data)


class WeekForm(forms.Form):
    """The hours of every week."""

    hours_0 = HoursField(label=WEEKDAYS[0], help_text="As 9:00–12:00, 13:00–17:00. Empty: closed.")
    hours_1 = HoursField(label=WEEKDAYS[1])
    hours_2 = HoursField(label=WEEKDAYS[2])
    hours_3 = HoursField(label=WEEKDAYS[3])
    hours_4 = HoursField(label=WEEKDAYS[4])
    hours_5 = HoursField(label=WEEKDAYS[5])
    hours_6 = HoursField(label=WEEKDAYS[6])

    @property
    def helper(self) -> FormHelper:
        return _helper(*(f"hours_{day}" for day in range(7)))

    def hours(self) -> list[Window]:
        return week_of(self.cleaned_data)


class DifferentDayForm(forms.Form):
    """One date with other hours, or none."""

    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    hours = HoursField(label="Open", help_text="As 10:00–13:00. Empty: closed.")
    note = forms.CharField(label="Why", max_length=120, required=False, help_text="For yourself.")

    @property
    def helper(self) -> FormHelper:
        return _helper("day", "hours", "note")


def week_of(typed: dict[str, Any]) -> list[Window]:
    """The windows of the seven `hours_…` fields."""
    return [
        Window(weekday, opens, closes)
        for weekday in range(7)
        for opens, closes in cast("list[Span]", typed[f"hours_{weekday}"])
    ]


def week_typed(windows: Sequence[Window]) -> dict[str, str]:
    """The other way round: what the seven fields begin with."""

    def of(weekday: int) -> list[tuple[time, time]]:
        return [(window.opens, window.closes) for window in windows if window.weekday == weekday]

    return {f"hours_{weekday}": show_hours(of(weekday)) for weekday in range(7)}
