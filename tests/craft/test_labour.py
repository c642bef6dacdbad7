from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.labour import Counts, Step, learnt_rate, show_minutes, step_minutes, total_minutes

D = Decimal
A_FLOAT: Any = 0.5
SPRAY = Step("spray", D(14), "area", each_coat=True)
FRONT = Step("take off and number a drawer front", D(4), "drawer")
CASE = Counts(D("2.84"), drawers=4, doors=2, coats=3)


@pytest.mark.parametrize(
    ("step", "minutes", "because"),
    [
        (SPRAY, "119.28", "14 min/m² × 2.84 m² × 3 coats = 1 h 59 min"),
        (Step("degrease", D(10), "area"), "28.40", "10 min/m² × 2.84 m² = 28 min"),
        (FRONT, "16", "4 min × 4 drawers = 16 min"),
        (Step("hinges", D(12), "door"), "24", "12 min × 2 doors = 24 min"),
        (Step("scuff the fronts", D(5), "drawer", each_coat=True), "60", "5 min × 4 drawers × 3 coats = 1 h"),
        (Step("mask", D(25), "piece"), "25", "25 min = 25 min"),
        (Step("clean the gun", D(15), "coat"), "45", "15 min × 3 coats = 45 min"),
        # by the coat is by the coat, not by its square
        (Step("clean the gun", D(15), "coat", each_coat=True), "45", "15 min × 3 coats = 45 min"),
        (Step("spray", D(14), "area", once=D(20)), "59.76", "14 min/m² × 2.84 m² + 20 min once = 1 h"),
    ],
)
def test_steps_worked_by_hand(step: Step, minutes: str, because: str) -> None:
    found = step_minutes(step, [CASE])
    assert (found.value, found.because) == (D(minutes), because)


def test_a_set_goes_quicker_after_the_first() -> None:
    chair = Counts(D("1.5"), coats=2)
    # 14 × 1.5 × 2 = 42; five more at 0.8: 42 + 210 × 0.8 = 210
    found = step_minutes(SPRAY, [chair] * 6, D("0.8"))
    assert found.value == 210
    assert found.because == "14 min/m² × 1.5 m² × 2 coats + 5 more pieces, 210 min × 0.8 = 3 h 30 min"
    carver = Counts(D(2), coats=2)
    assert step_minutes(SPRAY, [chair, carver], D("0.8")) == step_minutes(SPRAY, [carver, chair], D("0.8"))
    us = step_minutes(SPRAY, [chair], system="us")
    assert (us.value, us.because) == (D(42), "1.3 min/ft² × 16.1 ft² × 2 coats = 42 min")


def test_steps_add_up_and_rates_are_learnt() -> None:
    steps = [step_minutes(SPRAY, [CASE]), step_minutes(FRONT, [CASE])]
    total = total_minutes(steps)
    assert (total.value, total.because) == (D("135.28"), "119 + 16 min = 2 h 15 min")
    assert total_minutes([]).value == 0
    # 150 min for 10 m² and 30 min for 5 m²: the larger job weighs more than a mean of 15 and 6 would give it.
    learnt = learnt_rate([(D(150), D(10)), (D(30), D(5))])
    assert (learnt.value, learnt.because) == (D(12), "2 jobs: 180 min ÷ 15 = 12 min each")


def test_how_minutes_are_shown() -> None:
    shown = [show_minutes(D(value)) for value in ("0", "0.4", "1.4", "59.5", "60", "125", "6000")]
    assert shown == ["0 min", "0.4 min", "1 min", "1 h", "1 h", "2 h 05 min", "100 h"]


BAD_PER: Any = "metre"


@pytest.mark.parametrize(
    ("step", "pieces", "factor", "sentence"),
    [
        (Step("spray", D(-1), "area"), [CASE], "1", "less than no time"),
        (Step("spray", D(1), "area", once=D(-1)), [CASE], "1", "less than no time"),
        (Step("spray", D(10**6), "area"), [CASE], "1", "not believable"),
        (Step("spray", D(80_000), "piece"), [CASE] * 2, "1", "more than sixty days"),
        (Step("spray", D(1), BAD_PER), [CASE], "1", "by area, drawer"),
        (SPRAY, [], "1", "at least one piece"),
        (SPRAY, [CASE], "0", "Later pieces"),
        (SPRAY, [CASE], "1.1", "Later pieces"),
        (SPRAY, [Counts(D(-1))], "1", "An area is from 0"),
        (SPRAY, [Counts(D(1), coats=-1)], "1", "-1 coats are not believable"),
        (SPRAY, [Counts(D(1), drawers=5000)], "1", "5,000 drawers are not believable"),
        (SPRAY, [Counts(D("NaN"))], "1", "must be a number"),
    ],
)
def test_nonsense_is_refused(step: Step, pieces: list[Counts], factor: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        step_minutes(step, pieces, D(factor))


def test_logs_that_teach_nothing() -> None:
    for logged in ([], [(D(10), D(0))], [(D(-1), D(1))]):
        with pytest.raises(ValueError, match="logged"):
            learnt_rate(logged)
    with pytest.raises(TypeError, match="Decimal"):
        step_minutes(Step("spray", A_FLOAT, "area"), [CASE])


pieces = st.builds(
    Counts, st.decimals(0, 20, places=2), st.integers(0, 9), st.integers(0, 9), coats=st.integers(1, 6)
)


@given(
    st.lists(pieces, min_size=1, max_size=6), st.decimals("0.1", 1, places=2), st.sampled_from([SPRAY, FRONT])
)
def test_a_set_takes_between_its_first_piece_and_all_in_full(
    of_set: list[Counts], factor: Decimal, step: Step
) -> None:
    found = step_minutes(step, of_set, factor).value
    alone = [step_minutes(step, [piece]).value for piece in of_set]
    assert max(alone) <= found <= sum(alone)
    assert step_minutes(step, of_set).value == sum(alone)
    assert step_minutes(step, [*of_set, of_set[0]], factor).value >= found
