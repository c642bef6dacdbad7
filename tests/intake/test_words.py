from __future__ import annotations

import pytest

from shopdesk.intake.words import has_letter, many_lines, one_line, phone_digits, storable


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("  Ada \t Lund \n", "Ada Lund"),
        ("A\u200bd\u200ba\ufeff", "Ada"),
        ("\u202eevil\u202c name", "evil name"),
        ("Ada\r\nBcc: someone@example.com", "Ada Bcc: someone@example.com"),
        ("A\0da", "A da"),
        ("Jose\u0301", "Jos\u00e9"),
        ("محمد", "محمد"),
        ("\u2066\u2069\u00ad", ""),
    ],
)
def test_one_line(typed: str, kept: str) -> None:
    assert one_line(typed) == kept


def test_many_lines_keeps_lines_and_what_joins_letters() -> None:
    assert many_lines("one\r\ntwo\rthree\u2028four\0\x07\n") == "one\ntwo\nthree\nfour"
    assert many_lines("می\u200cخواهم") == "می\u200cخواهم"
    assert many_lines("a\u202eb") == "ab"


def test_storable_changes_nothing_else() -> None:
    assert storable("a\0b\ud800 \u202e c\r\n") == "ab \u202e c\r\n"


def test_has_letter() -> None:
    assert has_letter("李")
    assert has_letter("🪑 Bo")
    assert not has_letter("🪑🎨")
    assert not has_letter("42 !")
    assert not has_letter("")


@pytest.mark.parametrize(
    ("typed", "digits"),
    [
        ("555-0142", 7),
        ("+1 (212) 555-0142", 11),
        ("555 0142 ext. 12", 7),
        ("555.0142x9", 7),
        ("٥٥٥٠١٤٢", 7),
        ("call me", None),
        ("", None),
        ("555-0142; drop", None),
        ("+", None),
    ],
)
def test_phone_digits(typed: str, digits: int | None) -> None:
    assert phone_digits(typed) == digits
