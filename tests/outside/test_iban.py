"""Account numbers against the registry's own examples; the payment code against the EPC's guidelines."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
import segno

from shopdesk.craft.bank import (
    EEA,
    IBAN_LENGTHS,
    SEPA,
    check_iban,
    check_reference,
    payment_code_text,
    print_iban,
)

REFERENCE = Path(__file__).resolve().parents[2] / "shared" / "reference"


def registry() -> list[dict[str, str]]:
    lines = (REFERENCE / "iban_lengths.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


# Source: SWIFT IBAN registry (ISO 13616-2), release 100.
@pytest.mark.parametrize("row", registry(), ids=lambda row: row["country"])
def test_the_registrys_examples(row: dict[str, str]) -> None:
    iban = row["electronic"]
    assert check_iban(iban) == iban
    assert IBAN_LENGTHS[row["country"]] == int(row["length"]) == len(iban)
    if row["print"]:
        assert print_iban(iban) == row["print"]
        assert check_iban(row["print"]) == iban
    # ISO 7064 mod 97-10 finds every single mistyped digit, and every two neighbours changed for one another.
    for place in range(4, len(iban)):
        if iban[place].isdigit():
            with pytest.raises(ValueError, match="check digits"):
                check_iban(iban[:place] + str((int(iban[place]) + 1) % 10) + iban[place + 1 :])
        left, right = iban[place - 1], iban[place]
        if left != right and left.isdigit() and right.isdigit():
            with pytest.raises(ValueError, match="check digits"):
                check_iban(iban[: place - 1] + right + left + iban[place + 1 :])


def test_the_registry_is_whole() -> None:
    assert len(registry()) == 89
    assert {row["country"] for row in registry()} == set(IBAN_LENGTHS)
    assert set(IBAN_LENGTHS) > SEPA > EEA
    assert len(EEA) == 30  # 27 states of the Union, Iceland, Liechtenstein, Norway


# Source: EPC069-12 v2.1, the example beside the table of data elements (a transfer of 1 euro to the Red Cross
# of Belgium, there in version 001), as it is widely quoted; version 002 and two decimals of the amount are
# ours.
def test_the_guidelines_example() -> None:
    made = payment_code_text(
        "Red Cross of Belgium",
        "BE72000000001616",
        Decimal(1),
        bic="BPOTBEB1",
        purpose="CHAR",
        text="Urgency fund",
        note="Sample EPC QR code",
    )
    assert made.split("\n") == [
        "BCD",
        "002",
        "1",
        "SCT",
        "BPOTBEB1",
        "Red Cross of Belgium",
        "BE72000000001616",
        "EUR1.00",
        "CHAR",
        "",
        "Urgency fund",
        "Sample EPC QR code",
    ]


# Source: ISO 11649's usual example, as the guidelines' readers quote it with the code.
def test_a_creditor_reference() -> None:
    assert check_reference("RF18 5390 0754 7034") == "RF18539007547034"
    made = payment_code_text("A", "DE89370400440532013000", Decimal("12.3"), reference="RF18 5390 0754 7034")
    assert made == "BCD\n002\n1\nSCT\n\nA\nDE89370400440532013000\nEUR12.30\n\nRF18539007547034"


# Source: EPC069-12, 2D code guidelines: error level M, at most QR version 13, "331 byte payload". An
# independent encoder agrees that the fullest text the builder makes still fits.
def test_the_fullest_text_fits_the_code() -> None:
    made = payment_code_text(
        "N" * 70, "MT84MALT011000012345MTLCAST001S", Decimal("999999999.99"), text="t" * 140, note="n" * 54
    )
    assert len(made.encode()) == 331
    code = segno.make(made.encode(), error="m", boost_error=False, micro=False)
    assert int(code.version) <= 13
    with pytest.raises(ValueError, match="1 bytes too much"):
        payment_code_text(
            "N" * 70,
            "MT84MALT011000012345MTLCAST001S",
            Decimal("999999999.99"),
            text="t" * 140,
            note="n" * 55,
        )
