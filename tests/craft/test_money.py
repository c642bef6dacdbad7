from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from shopdesk.craft.money import LARGEST, exact, minor_units, parse_amount, quantize, split
from shopdesk.craft.rounding import half_up, ssuta_324

MONEYS = st.sampled_from(["JPY", "USD", "EUR", "KWD"])


@pytest.mark.parametrize(
    ("currency", "decimals"), [("USD", 2), ("EUR", 2), ("JPY", 0), ("KWD", 3), ("CLF", 4)]
)
def test_minor_units(currency: str, decimals: int) -> None:
    assert minor_units(currency) == decimals


@pytest.mark.parametrize("code", ["", "usd", "US", "DOLLAR", "XXX", "XAU", "DEM", "$", "U D"])
def test_not_a_money(code: str) -> None:
    with pytest.raises(ValueError, match="not a currency code"):
        minor_units(code)


@pytest.mark.parametrize(
    ("text", "currency", "hint", "amount"),
    [
        ("1250", "USD", None, "1250.00"),
        ("1,250.50", "USD", None, "1250.50"),
        ("1.250,50", "EUR", None, "1250.50"),
        ("1 250", "EUR", None, "1250.00"),
        ("1 250,50", "EUR", None, "1250.50"),  # narrow no-break space
        ("1’250.50", "CHF", None, "1250.50"),
        ("1,234,567.89", "USD", None, "1234567.89"),
        ("1.234.567", "EUR", None, "1234567.00"),
        ("1,25,000.50", "INR", None, "125000.50"),
        ("$340", "USD", None, "340.00"),
        ("$ 340 USD", "USD", None, "340.00"),
        ("340 usd", "USD", None, "340.00"),
        ("€ 12,5", "EUR", None, "12.50"),
        ("12,5 €", "EUR", None, "12.50"),
        ("340.-", "CHF", None, "340.00"),
        ("340,-- €", "EUR", None, "340.00"),
        ("Fr. 340.–", "CHF", None, "340.00"),
        ("kr. 99,50", "SEK", None, "99.50"),
        (".50", "USD", None, "0.50"),
        ("5.", "USD", None, "5.00"),
        ("0", "USD", None, "0.00"),
        ("1,250", "USD", None, "1250.00"),
        ("1.250", "EUR", None, "1250.00"),
        ("1.250", "EUR", ",", "1250.00"),
        ("1,250", "JPY", None, "1250"),
        ("1,250", "KWD", ",", "1.250"),
        ("1,250", "KWD", ".", "1250.000"),
        ("0,250", "KWD", None, "0.250"),
        ("1,2500", "CLF", None, "1.2500"),
    ],
)
def test_what_people_type(text: str, currency: str, hint: str | None, amount: str) -> None:
    assert str(parse_amount(text, currency, hint)) == amount


@pytest.mark.parametrize(
    ("text", "currency", "hint", "sentence"),
    [
        ("", "USD", None, "write an amount"),
        ("   ", "USD", None, "write an amount"),
        ("nonsense", "USD", None, "not an amount"),
        ("NaN", "USD", None, "not an amount"),
        ("Infinity", "USD", None, "not an amount"),
        ("1e3", "USD", None, "not an amount"),
        ("0x10", "USD", None, "not an amount"),
        ("1_000", "USD", None, "not an amount"),
        ("٣٤٠", "USD", None, "not an amount"),
        ("🪑", "USD", None, "not an amount"),
        ("12 5", "USD", None, "not an amount"),
        ("1,2,3", "USD", None, "not an amount"),
        ("1.2.3,4,5", "USD", None, "not an amount"),
        ("1 250,000.00", "USD", None, "not an amount"),
        ("0,125,000", "USD", None, "not an amount"),
        ("3 + 4", "USD", None, "not an amount"),
        ("340-", "USD", None, "not an amount"),
        ("--340", "USD", None, "not an amount"),
        ("(340)", "USD", None, "not an amount"),
        (". 5", "USD", None, "not an amount"),
        (",", "USD", None, "not an amount"),
        ("9" * 5000, "USD", None, "not an amount"),
        ("12.345", "USD", None, None),
        ("12.3456", "USD", None, "at most 2 decimals"),
        ("1.250", "USD", ".", "at most 2 decimals"),
        ("0.250", "USD", None, "at most 2 decimals"),
        ("12.5", "JPY", None, "no decimals"),
        ("1,250", "KWD", None, "two ways"),
        ("£340", "USD", None, "counts in USD"),
        ("340 EUR", "USD", None, "counts in USD"),
        ("$340", "EUR", None, "counts in EUR"),
        ("-340", "USD", None, "minus"),
        ("−340", "USD", None, "minus"),
        ("100000000000", "USD", None, "more money"),
    ],
)
def test_what_is_refused(text: str, currency: str, hint: str | None, sentence: str | None) -> None:
    if sentence is None:  # without a hint three digits behind a mark are a group: a thousand, not a fraction
        assert parse_amount(text, currency, hint) == Decimal(12345)
        return
    with pytest.raises(ValueError, match=sentence) as refused:
        parse_amount(text, currency, hint)
    assert len(str(refused.value)) < 120


def test_a_cheaper_option_may_be_negative() -> None:
    assert parse_amount("-$340", "USD", allow_negative=True) == Decimal("-340.00")
    assert parse_amount("− 1.250,50 €", "EUR", allow_negative=True) == Decimal("-1250.50")
    assert str(parse_amount("-0", "USD", allow_negative=True)) == "0.00"


def test_a_hint_is_a_point_or_a_comma() -> None:
    with pytest.raises(ValueError, match="point or a comma"):
        parse_amount("1", "USD", ";")


@given(st.integers(0, int(LARGEST) * 100), st.sampled_from([",.", ".,", " .", " ,", "'."]))
def test_what_is_written_with_groups_is_read_back(cents: int, marks: str) -> None:
    written = f"{Decimal(cents) / 100:,.2f}".replace(",", "G").replace(".", marks[1]).replace("G", marks[0])
    assert parse_amount(written, "USD") == Decimal(cents) / 100


@given(st.text(max_size=80), MONEYS, st.sampled_from([None, ".", ","]))
@example("1" + "0" * 59, "USD", None)
def test_any_text_is_an_amount_or_a_sentence(text: str, currency: str, hint: str | None) -> None:
    refusal = ""
    try:
        amount = parse_amount(text, currency, hint)
    except ValueError as error:
        refusal, amount = str(error), Decimal(0).scaleb(-minor_units(currency))
    assert refusal == "" or refusal.endswith(".")
    assert 0 <= amount <= LARGEST
    assert -int(amount.as_tuple().exponent) == minor_units(currency)


def test_exact_changes_no_value() -> None:
    assert str(exact(Decimal("12.5"), "USD")) == "12.50"
    assert str(exact(Decimal("12.500"), "USD")) == "12.50"
    assert str(exact(Decimal("1E+2"), "JPY")) == "100"
    with pytest.raises(ValueError, match="has more"):
        exact(Decimal("12.505"), "USD")
    with pytest.raises(ValueError, match="whole number"):
        exact(Decimal("12.5"), "JPY")


def test_quantize_goes_half_up() -> None:
    assert quantize(Decimal("0.125"), "USD") == Decimal("0.13")
    assert quantize(Decimal("-0.125"), "USD") == Decimal("-0.13")
    assert quantize(Decimal("0.5"), "JPY") == Decimal(1)


@pytest.mark.parametrize("wrong", [0.1, 1, "1"])
def test_only_decimals_are_money(wrong: Any) -> None:
    for use in (
        lambda: quantize(wrong, "USD"),
        lambda: exact(wrong, "USD"),
        lambda: ssuta_324(wrong),
        lambda: split(wrong, [Decimal(1)], "USD"),
        lambda: split(Decimal(1), [wrong], "USD"),
    ):
        with pytest.raises(TypeError, match="Decimal"):
            use()


@pytest.mark.parametrize("wrong", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_no_money_is_not_a_number(wrong: str) -> None:
    for use in (quantize, exact):
        with pytest.raises(ValueError, match="must be a number"):
            use(Decimal(wrong), "USD")


def test_section_324_in_other_moneys() -> None:
    assert ssuta_324(Decimal("0.45"), minor=0) == 0  # carried to the first decimal: 4
    assert ssuta_324(Decimal("0.5"), minor=0) == 1
    assert ssuta_324(Decimal("0.0004999"), minor=3) == 0
    assert ssuta_324(Decimal("0.0005"), minor=3) == Decimal("0.001")
    assert ssuta_324(Decimal("-0.065")) == Decimal("-0.07")
    assert str(ssuta_324(Decimal("-0.001"))) == "0.00"


@given(st.decimals(0, 10**9, places=9), st.integers(0, 3))
def test_section_324_is_within_half_a_unit(tax: Decimal, minor: int) -> None:
    assert abs(ssuta_324(tax, minor) - tax) <= Decimal(5).scaleb(-minor - 1)
    assert ssuta_324(tax, minor) == half_up(tax, minor)  # for what is not negative the two rules agree


def test_split_by_largest_remainder() -> None:
    third = [Decimal(1)] * 3
    assert split(Decimal("100.00"), third, "USD") == [Decimal("33.34"), Decimal("33.33"), Decimal("33.33")]
    assert split(Decimal("-100.00"), third, "USD") == [
        Decimal("-33.34"),
        Decimal("-33.33"),
        Decimal("-33.33"),
    ]
    assert split(Decimal(10), [Decimal(5), Decimal(3), Decimal(1)], "JPY") == [
        Decimal(6),
        Decimal(3),
        Decimal(1),
    ]
    assert split(Decimal("0.05"), [Decimal(0), Decimal(1)], "USD") == [Decimal(0), Decimal("0.05")]


@pytest.mark.parametrize("weights", [[], [Decimal(0)], [Decimal(-1), Decimal(2)]])
def test_split_needs_weights(weights: list[Decimal]) -> None:
    with pytest.raises(ValueError, match="weights"):
        split(Decimal(1), weights, "USD")


@given(
    st.decimals(-(10**6), 10**6, places=2),
    st.lists(st.decimals(0, 1000, places=3), min_size=1, max_size=12).filter(lambda ws: sum(ws) > 0),
)
def test_split_adds_up_and_is_fair(total: Decimal, weights: list[Decimal]) -> None:
    shares = split(total, weights, "USD")
    assert sum(shares) == total
    whole = sum(weights)
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share * whole - total * weight) < Decimal("0.01") * whole
        assert share == quantize(share, "USD")
