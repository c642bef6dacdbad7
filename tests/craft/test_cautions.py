from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft import cautions
from shopdesk.craft.cautions import lead_risk, made_year, tip_over_rule

THIS_YEAR = 2026
A_FLOAT: Any = 900.0


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("1962", (1962, 1962)),
        ("made in 1985", (1985, 1985)),
        ("I think it was built in 1985.", (1985, 1985)),
        ("1985?", (1985, 1985)),
        ("about 1925", (1920, 1930)),
        ("c. 1890", (1885, 1895)),
        ("ca. 1983", (1978, 1988)),
        ("~1990", (1985, 1995)),
        ("1960s", (1960, 1969)),
        ("the 1960's", (1960, 1969)),
        ("’60s", (1960, 1969)),
        ("the sixties", (1960, 1969)),
        ("early 1980s", (1980, 1989)),
        ("around the 1980s", (1975, 1994)),
        ("1900s", (1900, 1999)),
        ("the twenties", (1920, 2026)),
        ("1960-70", (1960, 1970)),
        ("1965–1975", (1965, 1975)),
        ("between 1960 and 1970", (1960, 1970)),
        ("1950s or 1960s", (1950, 1969)),
        ("60s/70s", (1960, 1979)),
        ("19th century", (1801, 1900)),
        ("late nineteenth century", (1801, 1900)),
        ("20th century", (1901, 2000)),
        ("mid century", (1940, 1970)),
        ("Mid-Century Modern", (1940, 1970)),
        ("40 years old", (1981, 1991)),
        ("about 50 years", (1971, 1981)),
        ("5 yrs old", (2020, 2022)),
        ("over 30 years old", (1000, 1996)),
        ("100+ years", (1000, 1926)),
        ("less than 10 years old", (2015, 2026)),
        ("before 1980", (1000, 1980)),
        ("after 1990", (1990, 2026)),
        ("2020s", (2020, 2026)),
    ],
)
def test_what_people_say_about_age(text: str, span: tuple[int, int]) -> None:
    assert made_year(text, THIS_YEAR) == span


@pytest.mark.parametrize(
    "text",
    [
        "",
        "old",
        "very old",
        "before the war",
        "no idea",
        "my grandmother's",
        "bought in 1995",
        "bought between 1990 and 1995",
        "repainted 1995",
        "in the family since 1985",
        "since 1985",
        "1985 or older",
        "not 1985",
        "1985 (restored 2001)",
        "had it 20 years",
        "2030",
        "1990-85",
        "12/1985",
        "1985 1990",
        "brand new",
        "🪑",
        "1985 " * 1000,
    ],
)
def test_what_says_nothing_certain_is_unknown(text: str) -> None:
    assert made_year(text, THIS_YEAR) is None


@given(
    st.text(max_size=60) | st.from_regex(r"(about |before |over )?[0-9]{1,4}(s| years old)?", fullmatch=True)
)
def test_any_text_is_a_span_up_to_now_or_unknown(text: str) -> None:
    span = made_year(text, THIS_YEAR)
    assert span is None or span[0] <= span[1] <= THIS_YEAR


@given(st.integers(1800, THIS_YEAR))
def test_only_a_piece_that_is_certainly_young_goes_without_the_caution(year: int) -> None:
    for text in (
        f"{year}",
        f"about {year}",
        f"before {year}",
        f"{year // 10}0s",
        f"{THIS_YEAR - year} years old",
    ):
        if year < 1979:
            assert lead_risk("painted", made_year(text, THIS_YEAR)), text
    assert lead_risk("painted", made_year(f"{year}", THIS_YEAR)) is (year < 1979)


@pytest.mark.parametrize(
    "finish", ["painted", "varnished", "lacquered", "unknown", "", "shellac", " Painted "]
)
def test_finishes_that_may_hold_lead(finish: str) -> None:
    assert lead_risk(finish, None)
    assert lead_risk(finish, (1970, 1985))
    assert not lead_risk(finish, (1979, 1985))


@pytest.mark.parametrize("finish", ["oiled", "waxed", "bare", " Oiled "])
def test_finishes_that_do_not(finish: str) -> None:
    assert not lead_risk(finish, None)
    assert not lead_risk(finish, (1900, 1900))


def test_a_measure_nobody_took_counts_as_reached() -> None:
    assert tip_over_rule(None, None, None, clothing_storage=True)
    assert tip_over_rule(Decimal(900), None, Decimal(120), clothing_storage=True)
    assert not tip_over_rule(Decimal(600), None, None, clothing_storage=True)
    assert not tip_over_rule(None, None, None, clothing_storage=False)
    with pytest.raises(TypeError, match="Decimal"):
        tip_over_rule(A_FLOAT, None, None, clothing_storage=True)


def test_cautions_are_whole_sentences_and_leave_the_decision_to_others() -> None:
    texts = {name: text for name, text in vars(cautions).items() if name.endswith("_CAUTION")}
    assert len(texts) == 6
    for name, text in texts.items():
        assert text.endswith("."), name
        assert "  " not in text, name
        assert "decide" in text or name == "TIP_OVER_CAUTION"
