"""Numbers as they are typed, in shops that write 2.5 and in shops that write 2,5."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shopdesk.shop.fields import MoneyField, NumberField
from shopdesk.shop.models import Shop


def number(locale: str) -> NumberField:
    return NumberField(Shop(locale=locale), decimals=3, most=100_000, required=False)


@pytest.mark.parametrize(
    ("locale", "typed", "meant"),
    [
        ("en_US", "2.5", "2.5"),
        ("en_US", "2,5", "2.5"),
        ("en_US", "1,000", "1000"),
        ("en_US", "1.000", "1"),
        ("en_US", "1,234.5", "1234.5"),
        ("en_US", "0,125", "0.125"),
        ("en_US", "50 %", "50"),
        ("en_US", ".5", "0.5"),
        ("de_DE", "1.000", "1000"),
        ("de_DE", "1,000", "1"),
        ("de_DE", "1.5", "1.5"),
        ("de_DE", "12.000,5", "12000.5"),
        ("de_DE", "0.125", "0.125"),
        ("fr_FR", "1 200,5", "1200.5"),
        ("fr_FR", "1\u202f200", "1200"),
        ("de_CH", "1’200.5", "1200.5"),
        ("ar_EG", "2.125", "2.125"),
    ],
)
def test_a_mark_is_read_as_the_shop_writes(locale: str, typed: str, meant: str) -> None:
    assert number(locale).clean(typed) == Decimal(meant)


@pytest.mark.parametrize("locale", ["en_US", "de_DE", "fr_FR", "ar_EG"])
@pytest.mark.parametrize("value", ["1", "1000", "1.125", "99999.5", "0.001"])
def test_what_a_field_shows_it_reads_back(locale: str, value: str) -> None:
    field = number(locale)
    assert field.clean(field.prepare_value(Decimal(value))) == Decimal(value)
    dinars = MoneyField(Shop(locale=locale), currency="KWD")
    assert dinars.clean(dinars.prepare_value(Decimal(value))) == Decimal(value)


@pytest.mark.parametrize(
    "typed", ["1,2,3", "1..2", "two", "1e3", "1.2345", "-3", "- 3", "%", "1 2", "100001"]
)
def test_nonsense_is_said_to_be_nonsense(typed: str) -> None:
    field = number("en_US")
    if typed == "%":
        assert field.clean(typed) is None
        return
    with pytest.raises(ValidationError):
        field.clean(typed)
