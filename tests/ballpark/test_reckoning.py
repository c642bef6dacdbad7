"""From kind, size and finish to a range: by hand, and for whatever is put in."""

from __future__ import annotations

from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.ballpark.reckoning import (
    Chosen,
    Money,
    Past,
    quartile,
    reckon,
    sensible_step,
)
from shopdesk.ballpark.sizes import CLASSES, SIZES, kind_of, size_of
from shopdesk.ballpark.words import said_span
from shopdesk.craft.faces import area_of
from shopdesk.pricebook.models import Shape
from shopdesk.pricebook.queries import Snapshot, StepFigures

DOLLARS = Money("USD", "en_US", D("6.25"), False, "us")
ENAMEL: Any = {
    "id": 1,
    "name": "Enamel",
    "kind": "colour coat",
    "purpose": "",
    "volume_solids_percent": "40",
    "dry_film_um": "40",
    "spread_m2_per_l": None,
    "coats": 3,
    "recoat_minutes": None,
    "density_kg_per_l": None,
    "thinning_percent": "0",
    "cautions": "",
    "cans": [
        {"label": "1 L", "volume_ml": "1000", "price": "40"},
        {"label": "250 mL", "volume_ml": "250", "price": "15"},
    ],
}
BRUSH: Any = {
    "id": 1,
    "name": "Brush",
    "way": "brush",
    "transfer": {"other": "0.8", "case": "0.5"},
    "cup_ml": 0,
    "loss_per_fill_ml": 0,
}


def step(**other: Any) -> StepFigures:
    figures: Any = {
        "position": 0,
        "rate": 1,
        "name": "Coat",
        "kind": "finish",
        "minutes_per_m2": "20",
        "minutes_per_drawer": "0",
        "minutes_per_door": "0",
        "minutes_per_piece": "0",
        "per_coat": False,
        "outlay_per_piece": "0",
        "cautions": "",
        "coats": 1,
        "grit": "",
        "faces": [],
        "note": "",
        "only_if": "",
        "material": None,
        "equipment": None,
        **other,
    }
    made: StepFigures = figures
    return made


def book(*steps: StepFigures, **rates: Any) -> Snapshot:
    figures: Any = {
        "version": 1,
        "schedule": 1,
        "name": "Enamel on a sound finish",
        "words": "",
        "steps": list(steps),
        "rates": {
            "currency": "USD",
            "wanted_hourly": "60",
            "floor_hourly": "40",
            "minimum_charge": "0",
            "rush_percent": "25",
            "later_piece_factor": "1",
            "sundries_percent": "0",
            "material_markup_percent": "0",
            "minutes_around_a_job": 0,
            **rates,
        },
    }
    made: Snapshot = figures
    return made


def other(schedule: Snapshot | None, count: int = 1, size: str = "middle", **more: Any) -> Chosen:
    return Chosen("pulpit", count, "other", size, schedule, **more)


def exact(pieces: list[Chosen], past: list[Past] | None = None, shop: Money = DOLLARS) -> tuple[D, D]:
    """What it came to before it was rounded."""
    found = reckon(pieces, past or [], D(0), shop)
    assert found is not None
    lines = [line for line in found.how if line.startswith(("By your rates", "By past", "Halfway"))]
    low, _, high = (
        lines[-1].rpartition(": ")[2].rstrip(".").replace("$", "").replace(",", "").partition(" to ")
    )
    return D(low), D(high or low)


def test_time_by_hand() -> None:
    """1.5 to 4 m² at 20 minutes = 30 to 80 minutes, at $60 an hour = $30 to $80."""
    assert exact([other(book(step()))]) == (D(30), D(80))


def test_a_step_for_each_coat_and_minutes_a_piece_and_a_set() -> None:
    """Three coats: 90 to 240 minutes, and 30 once; two pieces, the second at half the time: × 1.5."""
    steps = book(step(per_coat=True, coats=3), step(minutes_per_m2="0", minutes_per_piece="30"))
    assert exact([other(steps)]) == (D(120), D(270))
    steps["rates"]["later_piece_factor"] = "0.5"
    assert exact([other(steps, count=2)]) == (D(180), D(405))


def test_materials_by_hand() -> None:
    """Two coats of 1.5 and 4 m², 10 m²/L, of which 0.8 stays: 0.375 and 1 L at $40 (the cheaper litre);
    10 % sundries and 20 % on top: $19.80 and $52.80; tax of 6.25 % on that: $21.0375 and $56.10."""
    steps = book(
        step(minutes_per_m2="0", coats=2, material=ENAMEL, equipment=BRUSH),
        sundries_percent="10",
        material_markup_percent="20",
    )
    assert exact([other(steps)]) == (D("21.04"), D("56.10"))


def test_a_gun_loses_at_each_filling() -> None:
    """One coat of 4 m² at 10 m²/L × 0.8 is half a litre: one fill of 600 mL (it gives 550), which loses 50
    mL more."""
    gun = {**BRUSH, "cup_ml": 600, "loss_per_fill_ml": 50}
    plain = Money("USD", "en_US", D(0), False)
    steps = book(step(minutes_per_m2="0", material=ENAMEL, equipment=gun))
    assert exact([other(steps)], shop=plain)[1] == D("22")


def test_tax_on_labour_where_it_is_taxed_and_the_time_around_a_job() -> None:
    taxed = Money("USD", "en_US", D(10), True)
    assert exact([other(book(step()))], shop=taxed) == (D(33), D(88))
    around = book(step(), minutes_around_a_job=90)
    assert exact([other(around), other(around)]) == (D(150), D(250)), "once a job, not a piece"


def test_the_lead_step_only_where_lead_may_be() -> None:
    steps = book(
        step(), step(minutes_per_m2="0", minutes_per_piece="15", outlay_per_piece="8", only_if="lead")
    )
    assert exact([other(steps)]) == (D(30), D(80))
    assert exact([other(steps, lead=True)]) == (D("53.50"), D("103.50"))


def test_what_has_no_price_is_named() -> None:
    steps = book(step(material={**ENAMEL, "cans": []}))
    found = reckon([other(steps)], [], D(0), DOLLARS)
    assert found is not None
    assert any("Without Enamel" in line for line in found.how)


@pytest.mark.parametrize(
    ("schedule", "words"),
    [
        (None, "no schedule chosen"),
        (book(step(), wanted_hourly="0"), "No wanted hourly"),
        (book(step(), currency="EUR"), "counts in EUR"),
    ],
)
def test_without_rates_the_past_has_to_do(schedule: Snapshot | None, words: str) -> None:
    piece = other(schedule)
    assert reckon([piece], [], D(0), DOLLARS) is None
    past = [Past("other", "middle", D(each)) for each in (400, 500, 600)]
    found = reckon([piece], past, D(0), DOLLARS)
    assert found is not None
    assert any(words in line for line in found.how)
    assert (found.low, found.high) == (D(450), D(550))


def test_past_jobs_by_hand() -> None:
    """Of 300, 400, 500, 600 and 1000 the middle half is 400 to 600; two pieces: 800 to 1200. Other kinds and
    sizes do not count, and two jobs are too few."""
    prices = [300, 400, 500, 600, 1000]
    past = [Past("other", size, D(each)) for each, size in zip(prices, [None, "middle"] * 3, strict=False)]
    noise = [Past("case", "middle", D(1)), Past("other", "large", D(9000))]
    assert exact([other(None, count=2)], past + noise) == (D(800), D(1200))
    assert reckon([other(None)], past[:2] + noise, D(0), DOLLARS) is None


def test_both_meet_halfway_and_the_owner_is_told_when_they_lie_apart() -> None:
    past = [Past("other", None, D(1000))] * 3
    found = reckon([other(book(step()))], past, D(0), DOLLARS)
    assert found is not None
    assert exact([other(book(step()))], past) == (D(515), D(540))
    assert any("lie apart" in line for line in found.how)
    near = reckon([other(book(step()))], [Past("other", None, D(60))] * 3, D(0), DOLLARS)
    assert near is not None
    assert not any("lie apart" in line for line in near.how)


def test_one_piece_that_nothing_is_known_of_leaves_the_whole_open() -> None:
    assert reckon([other(book(step())), other(None)], [], D(0), DOLLARS) is None


@pytest.mark.parametrize(
    ("minimum", "ends"), [("0", (D(30), D(80))), ("250", (D(250), D(250))), ("47", (D(47), D(80)))]
)
def test_never_below_the_minimum_charge(minimum: str, ends: tuple[D, D]) -> None:
    found = reckon([other(book(step()))], [], D(minimum), DOLLARS)
    assert found is not None
    assert (found.low, found.high) == ends


def test_the_last_line_is_the_range_and_each_figure_before_it_is_said() -> None:
    found = reckon([other(book(step()))], [], D(0), DOLLARS)
    assert found is not None
    assert found.how == [
        "Pulpit, middle other, 1.5 to 4 m² of surface: 16.1 ft² to 43.1 ft² to coat.",
        "Enamel on a sound finish: 30 min to 1 h 20 min at $60.00 an hour = $30.00 to $80.00.",
        "Materials, with sundries and your markup: $0.00.",
        "With tax of 6.25 % on materials: $30.00 to $80.00.",
        "By your rates: $30.00 to $80.00.",
        "Past jobs are too few to go by: middle other (no past job).",
        "Rounded outwards to steps of $5.00: $30.00 to $80.00.",
    ]


@pytest.mark.parametrize(
    ("amount", "step_"),
    [("600", "50"), ("1999", "100"), ("200", "20"), ("99", "5"), ("12000", "1000"), ("4", "0.2")],
)
def test_sensible_steps(amount: str, step_: str) -> None:
    assert sensible_step(D(amount)) == D(step_)


amounts = st.decimals(min_value="0.01", max_value="99999", places=2)


@given(st.lists(amounts, min_size=3, max_size=20), st.integers(1, 12), amounts)
def test_any_range_is_one(prices: list[D], count: int, minimum: D) -> None:
    """Low to high, around the middle half, on the step, not below the minimum."""
    found = reckon([other(None, count)], [Past("other", None, each) for each in prices], minimum, DOLLARS)
    assert found is not None
    assert minimum <= found.low <= found.high
    assert found.low > 0
    assert found.high >= quartile(sorted(prices), 3) * count
    step_ = sensible_step(quartile(sorted(prices), 3) * count)
    for end in (found.low, found.high):
        assert end % step_ == 0 or end == minimum


@given(st.lists(amounts, min_size=1, max_size=20).map(sorted))
def test_quartiles_lie_among_the_amounts(prices: list[D]) -> None:
    assert prices[0] <= quartile(prices, 1) <= quartile(prices, 3) <= prices[-1]


def test_every_kind_has_three_sizes_that_grow() -> None:
    assert set(CLASSES) == set(Shape.values)
    for kind, classes in CLASSES.items():
        least = [area_of(classes[size].least.shape.faces()) for size in SIZES]
        most = [area_of(classes[size].most.shape.faces()) for size in SIZES]
        assert 0 < least[0] < least[1] < least[2], kind
        assert most[0] < most[1] < most[2], kind
        assert all(small < large for small, large in zip(least, most, strict=True)), kind
        longest = [classes[size].longest_mm for size in SIZES]
        assert longest == sorted(set(longest))


@pytest.mark.parametrize("kind", Shape.values)
@pytest.mark.parametrize("size", SIZES)
def test_every_kind_at_every_size_can_be_reckoned(kind: str, size: str) -> None:
    faces = ["top", "fronts"] if kind == "case" else []
    steps = book(
        step(faces=faces, material=ENAMEL, equipment=BRUSH),
        step(minutes_per_drawer="5", minutes_per_door="9"),
    )
    found = reckon([Chosen("it", 3, kind, size, steps)], [], D(0), DOLLARS)
    assert found is not None
    assert 0 < found.low < found.high


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("writing desk", "table"),
        ("six Chairs", "chair"),
        ("dining table chair", "chair"),
        ("chest of drawers", "case"),
        ("bench for the kitchen table", "bench"),
        ("mirror", "mirror frame"),
        ("sideboard with a mirror above it", "case"),
        ("long and much travelled sideboard", "case"),
        ("table and six chairs", "table"),
        ("bedstead", "bed"),
        ("the piece", "other"),
        ("", "other"),
        ("tablet", "other"),
    ],
)
def test_a_name_suggests_a_kind(name: str, kind: str) -> None:
    assert kind_of(name) == kind


def test_sides_make_a_size() -> None:
    assert size_of("table", D(1400), None, D(760)) == "middle"
    assert size_of("table", D(900), None, None) == "small"
    assert size_of("table", D(5000), None, None) == "large"
    assert size_of("table", None, None, None) is None


@pytest.mark.parametrize(
    ("low", "high", "currency", "locale", "said"),
    [
        ("450", "600", "USD", "en_US", "about $450–600"),
        ("450", "450", "USD", "en_US", "about $450"),
        ("1200", "1500", "USD", "en_US", "about $1,200–1,500"),
        ("450.50", "600", "USD", "en_US", "about $450.50–600.00"),
        ("450", "600", "EUR", "de_DE", "about 450–600 €"),
        ("450", "600", "GBP", "en_GB", "about £450–600"),
        ("45000", "60000", "JPY", "ja_JP", "about ￥45,000–60,000"),
        ("45.5", "60", "KWD", "en_US", "about KWD 45.500–60.000"),
    ],
)
def test_how_it_is_said(low: str, high: str, currency: str, locale: str, said: str) -> None:
    assert said_span(D(low), D(high), currency, locale).replace("\u00a0", " ") == said
