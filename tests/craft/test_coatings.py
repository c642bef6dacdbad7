import re
from decimal import Decimal, localcontext
from itertools import product
from math import ceil
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopdesk.craft.coatings import (
    Can,
    cheapest_cans,
    gun_fills,
    mass_kg,
    spreading_rate_ft2_per_gal,
    spreading_rate_m2_per_l,
    volume_l,
    wet_film_um,
)
from shopdesk.craft.units import L_PER_QUART

D = Decimal
A_FLOAT: Any = 0.5
QUART, GALLON = Can("1 quart", L_PER_QUART, D("28.50")), Can("1 gallon", 4 * L_PER_QUART, D(84))


def test_litres_worked_by_hand() -> None:
    # 3 × 2.84 = 8.52 m²; 8.9 × 0.65 = 5.785 m² from a litre; 8.52 ÷ 5.785 = 1.47277…
    found = volume_l(D("2.84"), 3, D("8.9"), D("0.65"))
    assert round(found.value, 5) == D("1.47277")
    assert found.because == "3 coats × 2.84 m² ÷ (8.9 m²/L × 0.65) = 1.47 L"
    # five fills lose 40 mL each
    filled = volume_l(D("2.84"), 3, D("8.9"), D("0.65"), D("0.04"), 5)
    assert filled.value - found.value == D("0.2")
    assert filled.because == "3 coats × 2.84 m² ÷ (8.9 m²/L × 0.65) + 5 fills × 40 mL lost = 1.67 L"
    one = volume_l(D("2.84"), 1, D("8.9"), D(1), system="us")
    assert one.because == "1 coat × 30.6 ft² ÷ (363 ft²/gal × 1) = 10.8 fl oz"
    bought = cheapest_cans(found.value, [QUART, GALLON])
    assert bought.because == "1.47 L → two 1-quart cans, 420 mL left over"
    assert (bought.cans, bought.price) == (((QUART, 2),), D(57))
    assert abs(bought.left_over_l - (2 * L_PER_QUART - found.value)) < D("1E-20")


def test_rates_film_fills_and_mass_worked_by_hand() -> None:
    rate = spreading_rate_m2_per_l(D(35), D(40))
    assert (rate.value, rate.because) == (D("8.75"), "10 × 35 % solids ÷ 40 µm dry film = 8.75 m²/L")
    us = spreading_rate_ft2_per_gal(D(36), D(3))
    assert (us.value, us.because) == (D("192.5"), "1604 × 36 % solids ÷ 3 mils dry film = 193 ft²/gal")
    assert wet_film_um(D(35), D(35)).value == 100
    thinned = wet_film_um(D(35), D(35), D(10))
    assert (thinned.value, thinned.because) == (
        D(110),
        "35 µm dry × 1.1 for the thinner ÷ 35 % solids = 110 µm wet",
    )
    # 0.5 L a coat from a cup of 0.3 L that loses 0.05 L: two fills a coat
    fills = gun_fills(D(2), 3, D(8), D("0.5"), D("0.3"), D("0.05"))
    assert fills.count == 6
    assert fills.because == "500 mL a coat from a cup that gives 250 mL: 2 fills × 3 coats = 6 fills"
    mass = mass_kg(D("1.5"), D("1.1"))
    assert (mass.value, mass.because) == (D("1.65"), "1.5 L × 1.1 kg/L = 1.65 kg")


@pytest.mark.parametrize(
    ("area", "coats", "rate", "efficiency", "loss", "fills", "sentence"),
    [
        ("2", 0, "8", "0.5", "0", 0, "at least one coat"),
        ("2", -1, "8", "0.5", "0", 0, "at least one coat"),
        ("2", 400, "8", "0.5", "0", 0, "400 coats are not believable"),
        ("0", 1, "8", "0.5", "0", 0, "An area has to be above 0"),
        ("1001", 1, "8", "0.5", "0", 0, "An area of more than 1000 m²"),
        ("2", 1, "0", "0.5", "0", 0, "spreading rate has to be above 0"),
        ("2", 1, "8", "0", "0", 0, "transfer efficiency is above 0 and at most 1"),
        ("2", 1, "8", "1.01", "0", 0, "transfer efficiency is above 0 and at most 1"),
        ("2", 1, "8", "NaN", "0", 0, "must be a number"),
        ("2", 1, "8", "0.5", "-1", 0, "loss at each filling has to be at least 0"),
        ("2", 1, "8", "0.5", "0", -1, "not believable"),
        ("1000", 30, "1", "0.01", "0", 0, "would take 3,000,000 litres"),
    ],
)
def test_litres_that_cannot_be(
    area: str, coats: int, rate: str, efficiency: str, loss: str, fills: int, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        volume_l(D(area), coats, D(rate), D(efficiency), D(loss), fills)


@pytest.mark.parametrize(
    ("solids", "film"), [("0", "40"), ("120", "40"), ("-1", "40"), ("35", "0"), ("35", "9999")]
)
def test_rates_that_cannot_be(solids: str, film: str) -> None:
    for reckon in (spreading_rate_m2_per_l, spreading_rate_ft2_per_gal):
        with pytest.raises(ValueError, match=r"Volume solids|A film"):
            reckon(D(solids), D(film))
    with pytest.raises(ValueError, match=r"Volume solids|A film"):
        wet_film_um(D(film), D(solids))


def test_other_nonsense() -> None:
    with pytest.raises(ValueError, match="Thinning of more than 100 percent"):
        wet_film_um(D(35), D(35), D(101))
    with pytest.raises(ValueError, match="all that its cup holds"):
        gun_fills(D(2), 1, D(8), D("0.5"), D("0.1"), D("0.1"))
    with pytest.raises(ValueError, match="not believable"):
        gun_fills(D(1000), 3, D(8), D("0.5"), D("0.1"), D("0.05"))
    with pytest.raises(ValueError, match="A density"):
        mass_kg(D(1), D(1200))
    with pytest.raises(TypeError, match="Decimal"):
        volume_l(D(2), 1, D(8), A_FLOAT)
    with pytest.raises(TypeError, match="whole number"):
        volume_l(D(2), A_FLOAT, D(8), D(1))


@pytest.mark.parametrize(
    ("need", "cans", "sentence"),
    [
        ("1", [], "no can sizes yet"),
        ("0", [QUART], "above 0"),
        ("1", [Can("tin", D(0), D(1))], "What a tin can holds has to be above 0"),
        ("1", [Can("tin", D(1), D(-1))], "The price of a tin can"),
        ("1", [Can(" ", D(1), D(1))], "needs a name"),
        ("900", [Can("tin", D(1), D(1))], "more than 200 cans"),
        ("1", [Can(str(n), D(n + 1), D(1)) for n in range(13)], "At most 12"),
    ],
)
def test_cans_that_cannot_be(need: str, cans: list[Can], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        cheapest_cans(D(need), cans)


def test_ties_go_to_least_left_over_then_fewest() -> None:
    one, two, three = Can("1 L", D(1), D(10)), Can("2 L", D(2), D(20)), Can("3 L", D(3), D(20))
    assert cheapest_cans(D("1.5"), [one, two, three]).cans == ((two, 1),)
    assert cheapest_cans(D("2.5"), [one, two, three]).because == "2.5 L → one 3-L can, 500 mL left over"
    assert cheapest_cans(D(4), [one, two]).cans == ((two, 2),)
    # the same size at two prices: the cheaper; what stands on the shelf costs nothing
    shelf = Can("1 L", D(1), D(0))
    assert cheapest_cans(D(2), [one, shelf]).price == 0
    mixed = cheapest_cans(D("4.5"), [GALLON, QUART, Can("1 pint", L_PER_QUART / 2, D("15"))])
    assert mixed.because == "4.5 L → one 1-gallon can and one 1-quart can, 232 mL left over"


can_prices = st.integers(0, 60).map(lambda units: D(units) / 2)
some_cans = st.lists(
    st.builds(lambda size, price: Can(f"{size} dL", D(size) / 10, price), st.integers(3, 40), can_prices),
    min_size=1,
    max_size=3,
)


@settings(deadline=None)
@given(st.integers(1, 30).map(lambda dl: D(dl) / 10), some_cans)
def test_no_other_cans_are_better(need: Decimal, cans: list[Can]) -> None:
    found = cheapest_cans(need, cans)
    ways = product(*(range(ceil(need / can.holds_l) + 1) for can in cans))
    best = min(
        (
            sum((n * can.price for n, can in zip(way, cans, strict=True)), D(0)),
            sum((n * can.holds_l for n, can in zip(way, cans, strict=True)), D(0)),
            sum(way),
        )
        for way in ways
        if sum(n * can.holds_l for n, can in zip(way, cans, strict=True)) >= need
    )
    assert (found.price, found.holds_l, sum(count for _, count in found.cans)) == best
    assert found.left_over_l == found.holds_l - need >= 0
    assert found.price == sum(can.price * count for can, count in found.cans)


areas = st.decimals("0.01", 20, places=2)
rates = st.decimals(2, 20, places=2)
shares = st.decimals("0.2", 1, places=2)


@given(areas, st.integers(1, 10), rates, shares, st.integers(0, 20))
def test_an_explanation_is_made_of_its_own_numbers(
    area: Decimal, coats: int, rate: Decimal, share: Decimal, fills: int
) -> None:
    found = volume_l(area, coats, rate, share, D("0.04"), fills)
    said = [D(number) for number in re.findall(r"[0-9.]+(?= |$|\))", found.because)]
    litres = found.because.rsplit("= ", 1)[1]
    shown = D(litres.split()[0]) / (1000 if litres.endswith("mL") else 1)
    redone = said[0] * said[1] / (said[2] * said[3]) + (said[4] * said[5] / 1000 if fills else 0)
    assert said[0] == coats
    assert abs(redone / found.value - 1) < D("0.02")
    assert abs(shown / found.value - 1) < D("0.006")


@given(areas, st.integers(1, 10), rates, shares)
def test_more_takes_more(area: Decimal, coats: int, rate: Decimal, share: Decimal) -> None:
    found = volume_l(area, coats, rate, share).value
    assert volume_l(area, coats + 1, rate, share).value > found
    assert volume_l(area, coats, rate, D(1)).value <= found
    assert abs(volume_l(area / 2, coats, rate, share).value - found / 2) < D("1E-20")
    cup = gun_fills(area, coats, rate, share, D("0.6"), D("0.05"))
    assert cup.count >= coats
    assert cup.count * D("0.55") >= found - D("1E-20")


def test_the_callers_decimal_context_does_not_matter() -> None:
    usual = cheapest_cans(D("1.47277"), [QUART, GALLON])
    with localcontext() as poor:
        poor.prec = 2
        assert cheapest_cans(D("1.47277"), [QUART, GALLON]) == usual
