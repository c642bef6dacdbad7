"""Bank transfer: account numbers (IBAN, ISO 13616), references (ISO 11649) and the text of a SEPA payment
code.

The code is drawn elsewhere; here is only what it says.
"""

import re
from decimal import Decimal

from shopdesk.craft.money import exact
from shopdesk.craft.rounding import demand_decimal


def _codes(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


# Countries and lengths from the SWIFT IBAN registry, release 100 (ISO 13616-2).
IBAN_LENGTHS: dict[str, int] = {
    country: length
    for length, countries in {
        15: "NO",
        16: "BE",
        18: "DK FI FK FO GL NL SD",
        19: "MK SI",
        20: "AT BA EE KZ LT LU MN XK",
        21: "CH HR LI LV",
        22: "BG BH CR DE GB GE IE ME RS VA",
        23: "AE GI IL IQ OM SO TL",
        24: "AD CZ ES MD PK RO SA SE SK TN VG",
        25: "LY PT ST",
        26: "IS TR",
        27: "BI DJ FR GR IT MC MR SM",
        28: "AL AZ BY CY DO GT HN HU LB NI PL SV",
        29: "BR EG PS QA UA",
        30: "JO KW MU YE",
        31: "MT SC",
        32: "LC",
        33: "RU",
    }.items()
    for country in _codes(countries)
}
# The registry's countries of the European Economic Area: an account there needs no BIC in a payment code.
EEA = _codes("AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IS IT LI LT LU LV MT NL NO PL PT RO SE SI SK")
# The other countries of the single euro payments area: those the registry marks, and (from memory, EPC409-09)
# AL, MD, ME, MK and RS, which joined in 2024 and 2025.
SEPA = EEA | _codes("AD AL CH GB GI MC MD ME MK RS SM VA")

LARGEST_TRANSFER = Decimal("999999999.99")
MOST_BYTES = 331
"""What the guidelines let a payment code hold: QR version 13 at error correction M."""


def check_iban(text: str) -> str:
    """The account number without spaces, in capitals, if its country, length and check digits are right.

    Raises `ValueError` with a sentence that says what is wrong.
    """
    iban = re.sub(r"[\s\u00a0\u202f-]+", "", text).upper().removeprefix("IBAN").removeprefix(":")
    if not iban:
        raise ValueError("Please write the account number (IBAN).")
    if not re.fullmatch(r"[A-Z]{2}[0-9]{2}[A-Z0-9]{1,40}", iban, re.ASCII):
        raise ValueError("An IBAN is two letters, two digits, then letters and digits; please check it.")
    length = IBAN_LENGTHS.get(iban[:2])
    if length is None:
        raise ValueError(
            f"No country that uses IBANs has the letters {iban[:2]}; please check the first two."
        )
    if len(iban) != length:
        raise ValueError(f"An IBAN from {iban[:2]} has {length} signs; this one has {len(iban)}.")
    # Check digits are worked out as 98 less a remainder by 97, so 00, 01 and 99 never come of it.
    if not "02" <= iban[2:4] <= "98" or _mod_97(iban) != 1:
        raise ValueError("The IBAN's check digits do not fit; one of its signs is mistyped.")
    return iban


def print_iban(iban: str) -> str:
    """As it is printed on paper: groups of four, the rest last. Raises `ValueError` like `check_iban`."""
    plain = check_iban(iban)
    return " ".join(plain[start : start + 4] for start in range(0, len(plain), 4))


def check_reference(text: str) -> str:
    """A creditor reference (ISO 11649): RF, two check digits, up to 21 letters and digits; without spaces."""
    reference = re.sub(r"\s+", "", text).upper()
    if not re.fullmatch(r"RF[0-9]{2}[A-Z0-9]{1,21}", reference, re.ASCII) or _mod_97(reference) != 1:
        raise ValueError("That is not a valid creditor reference (RF…); please check it.")
    return reference


def check_bic(text: str) -> str:
    """A bank's code (ISO 9362): 8 or 11 letters and digits, in capitals."""
    bic = re.sub(r"\s+", "", text).upper()
    if not re.fullmatch(r"[A-Z0-9]{4}[A-Z]{2}[A-Z0-9]{2}(?:[A-Z0-9]{3})?", bic, re.ASCII):
        raise ValueError("A BIC has 8 or 11 letters and digits, such as ABCDDEFF; please check it.")
    return bic


def payment_code_text(
    name: str,
    iban: str,
    amount: Decimal,
    *,
    text: str = "",
    reference: str = "",
    bic: str = "",
    purpose: str = "",
    note: str = "",
) -> str:
    """What a SEPA payment code says, to be drawn as a QR code with error correction M, at most version 13.

    EPC069-12 (Quick response code: guidelines to enable data capture for the initiation of a SEPA credit
    transfer), version 002, UTF-8: lines ended by LF, empty ones kept in their place, none after the last that
    is filled. `amount` in euros, 0.01 to 999,999,999.99. Either `text` (what the payment is for, to 140
    signs) or a creditor `reference` (ISO 11649). `name` and `note` (to the payer) hold up to 70 signs,
    `purpose` four. An account outside the EEA needs a `bic`.

    Raises `ValueError` with a sentence for anything the guidelines do not allow.
    """
    account = check_iban(iban)
    country = account[:2]
    if country not in SEPA:
        raise ValueError(f"An account in {country} is outside the single euro payments area.")
    bank = check_bic(bic) if bic.strip() else ""
    if not bank and country not in EEA:
        raise ValueError(f"For an account in {country} a payment code needs the bank's BIC.")
    if not Decimal("0.01") <= demand_decimal(amount, "An amount") <= LARGEST_TRANSFER:
        raise ValueError("A payment code asks for 0.01 to 999,999,999.99 euros.")
    who = _line(name, 70, "The account holder's name")
    if not who:
        raise ValueError("A payment code needs the account holder's name.")
    purpose = purpose.strip().upper()
    if not re.fullmatch(r"[A-Z]{4}|", purpose, re.ASCII):
        raise ValueError("A purpose is a code of four letters, or nothing.")
    what_for = _line(text, 140, "What the payment is for")
    creditor = check_reference(reference) if reference.strip() else ""
    if what_for and creditor:
        raise ValueError("A payment code has a reference or a text, not both.")
    lines = [
        "BCD",
        "002",
        "1",
        "SCT",
        bank,
        who,
        account,
        f"EUR{exact(amount, 'EUR'):f}",
        purpose,
        creditor,
        what_for,
    ]
    lines.append(_line(note, 70, "The note to the payer"))
    payload = "\n".join(lines).rstrip("\n")
    size = len(payload.encode("utf-8"))
    if size > MOST_BYTES:
        raise ValueError(
            f"That is {size - MOST_BYTES} bytes too much for a payment code; please shorten the text."
        )
    return payload


def _line(text: str, most: int, what: str) -> str:
    """`text` on one line, at most so many signs."""
    plain = " ".join(text.split())
    if any(ord(sign) < 32 or ord(sign) == 127 for sign in plain):
        raise ValueError(f"{what} holds signs that cannot be printed.")
    if len(plain) > most:
        raise ValueError(f"{what} has {len(plain)} signs; a payment code holds {most}.")
    return plain


def _mod_97(code: str) -> int:
    """ISO 7064: the first four signs moved to the end, letters as 10 to 35, the whole number modulo 97."""
    return int("".join(str(int(sign, 36)) for sign in code[4:] + code[:4])) % 97
