from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.bank import check_bic, check_iban, check_reference, payment_code_text, print_iban

GERMAN = "DE89370400440532013000"


@pytest.mark.parametrize(
    "text",
    [
        GERMAN,
        "de89 3704 0044 0532 0130 00",
        "IBAN: DE89 3704 0044 0532 0130 00",
        "IBAN DE89-3704-0044-0532-0130-00",
        " DE89\u00a03704\u00a00044 0532\n0130 00 ",
    ],
)
def test_account_numbers_as_people_write_them(text: str) -> None:
    assert check_iban(text) == GERMAN
    assert print_iban(text) == "DE89 3704 0044 0532 0130 00"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "write the account number"),
        ("IBAN", "write the account number"),
        ("12345678", "two letters, two digits"),
        ("DE8937040044053201300🪑", "two letters, two digits"),
        ("DE" + "8" * 5000, "two letters, two digits"),
        ("US89370400440532013000", "letters US"),
        ("DE8937040044053201300", "has 22 signs; this one has 21"),
        ("DE88370400440532013000", "check digits"),
        # the remainder is right, but no calculation gives these check digits: it would be 97
        ("DE00000000000000000066", "check digits"),
    ],
)
def test_account_numbers_that_are_wrong(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        check_iban(text)


def test_references_and_bank_codes() -> None:
    assert check_bic(" bpotbeb1 ") == "BPOTBEB1"
    for bad in ("BPOTBEB", "BPOTBEB1X", "BPOT1EB1", "BPOTBEB1XX!"):
        with pytest.raises(ValueError, match="8 or 11"):
            check_bic(bad)
    for bad in ("RF19539007547034", "XX18539007547034", "RF18", "RF18" + "0" * 30):
        with pytest.raises(ValueError, match="creditor reference"):
            check_reference(bad)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"name": "  "}, "needs the account holder's name"),
        ({"name": "N" * 71}, "has 71 signs; a payment code holds 70"),
        ({"name": "A\x00B"}, "cannot be printed"),
        ({"iban": "TR330006100519786457841326"}, "outside the single euro payments area"),
        ({"iban": "CH9300762011623852957"}, "needs the bank's BIC"),
        ({"amount": Decimal(0)}, "0.01 to"),
        ({"amount": Decimal("0.001")}, "0.01 to"),
        ({"amount": Decimal("1.005")}, "has more"),
        ({"amount": Decimal("1000000000")}, "0.01 to"),
        ({"amount": Decimal("NaN")}, "must be a number"),
        ({"text": "t" * 141}, "holds 140"),
        ({"text": "Quote 7", "reference": "RF18539007547034"}, "not both"),
        ({"note": "n" * 71}, "holds 70"),
        ({"purpose": "CHARITY"}, "four letters"),
        ({"bic": "X"}, "8 or 11"),
        ({"text": "ж" * 140}, "bytes too much"),
    ],
)
def test_payment_codes_that_cannot_be(changed: dict[str, Any], sentence: str) -> None:
    given_: dict[str, Any] = {"name": "Shop", "iban": GERMAN, "amount": Decimal("10.00"), **changed}
    with pytest.raises(ValueError, match=sentence):
        payment_code_text(**given_)


def test_no_amount_is_a_float() -> None:
    amount: Any = 10.0
    with pytest.raises(TypeError, match="Decimal"):
        payment_code_text("Shop", GERMAN, amount)


def test_an_account_outside_the_eea_with_its_bank() -> None:
    made = payment_code_text("Shop", "CH9300762011623852957", Decimal(5), bic="ABCDCHZZ")
    assert made == "BCD\n002\n1\nSCT\nABCDCHZZ\nShop\nCH9300762011623852957\nEUR5.00"


@given(st.text(min_size=1, max_size=40), st.text(max_size=60), st.integers(1, 10**11 - 1))
def test_a_payment_code_is_read_back_or_refused(name: str, text: str, units: int) -> None:
    amount = Decimal(units).scaleb(-2)
    made, refusal = "", ""
    try:
        made = payment_code_text(name, GERMAN, amount, text=text)
    except ValueError as error:
        refusal = str(error)
    assert bool(made) != refusal.endswith(".")
    if not made:
        return
    lines = made.split("\n")
    assert lines[:5] == ["BCD", "002", "1", "SCT", ""]
    assert lines[5] == " ".join(name.split())
    assert lines[6:8] == [GERMAN, f"EUR{amount}"]
    assert lines[10:] == ([" ".join(text.split())] if text.split() else [])
    assert len(made.encode()) <= 331
