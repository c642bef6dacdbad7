"""The life of a commission, as the table has it."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import THE_SHOP, Who
from shopdesk.commissions.actions import agree_colour, set_facts
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.commissions.stages import ENDS, STEPS, advance, open_steps

pytestmark = pytest.mark.django_db


def put(commission: Commission, stage: Stage, **facts: object) -> Commission:
    Commission.objects.filter(pk=commission.pk).update(stage=stage, **facts)
    commission.refresh_from_db()
    return commission


def test_every_stage_can_be_reached_and_every_end_is_an_end() -> None:
    reached = {Stage.REQUESTED}
    for _ in Stage:
        reached |= {step.to for step in STEPS if set(step.came_from) & reached}
    assert reached == set(Stage)
    taken_up = {Stage.DECLINED, Stage.WITHDRAWN}
    for end in set(ENDS) - taken_up:
        assert not [step for step in STEPS if end in step.came_from]


def test_no_pair_of_stages_has_two_ways() -> None:
    pairs = [(came_from, step.to) for step in STEPS for came_from in step.came_from]
    assert len(pairs) == len(set(pairs))


def test_advancing_writes_stage_date_and_journal(commission: Commission, as_owner: Who) -> None:
    advance(commission, Stage.QUOTED, as_owner)
    commission.refresh_from_db()
    assert commission.stage == Stage.QUOTED
    assert commission.quoted_at is not None
    line = JournalLine.objects.latest("id")
    assert (line.verb, line.words, line.user_id, line.for_client) == (
        "quoted",
        "Quote sent",
        as_owner.id,
        True,
    )


def test_a_step_that_does_not_follow_is_refused(commission: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="requested by now"):
        advance(commission, Stage.READY, as_owner)
    assert not JournalLine.objects.filter(verb="ready").exists()


def test_a_client_cannot_take_the_shops_steps(commission: Commission, as_client: Who) -> None:
    with pytest.raises(Refused, match="the shop's to take"):
        advance(commission, Stage.QUOTED, as_client)


def test_a_house_rule_is_stepped_past_with_a_reason_that_stays(commission: Commission, as_owner: Who) -> None:
    put(commission, Stage.AGREED)
    with pytest.raises(Refused, match="deposit is not in"):
        advance(commission, Stage.BOOKED, as_owner)
    advance(commission, Stage.BOOKED, as_owner, past="A regular since ten years")
    assert JournalLine.objects.latest("id").reason == "A regular since ten years"


def test_nobody_but_the_owner_steps_past(commission: Commission, as_client: Who) -> None:
    put(commission, Stage.AGREED)
    for who in (as_client, THE_SHOP):
        with pytest.raises(Refused):
            advance(commission, Stage.BOOKED, who, past="please")


def test_a_matter_of_records_is_not_stepped_past(commission: Commission, as_owner: Who) -> None:
    put(commission, Stage.IN_WORK)
    with pytest.raises(Refused, match="picture of the finished piece"):
        advance(commission, Stage.READY, as_owner, past="No camera at hand")
    put(commission, Stage.BOOKED)
    with pytest.raises(Refused, match="which day"):
        advance(commission, Stage.CHECKED_IN, as_owner, past="yesterday, I think")


def test_on_hold_goes_back_to_where_it_was_and_nowhere_else(commission: Commission, as_owner: Who) -> None:
    put(commission, Stage.DRYING)
    advance(commission, Stage.ON_HOLD, as_owner, note="the hardware is late")
    assert {step.to for step in open_steps(commission)} == {Stage.DRYING, Stage.CANCELLED}
    with pytest.raises(Refused):
        advance(commission, Stage.READY, as_owner)
    advance(commission, Stage.DRYING, as_owner)
    commission.refresh_from_db()
    assert (commission.stage, commission.held_from) == (Stage.DRYING, "")


def test_a_moved_on_commission_is_judged_as_it_is_now(commission: Commission, as_owner: Who) -> None:
    """Two tabs: the second one holds an old copy."""
    old = Commission.objects.get(pk=commission.pk)
    advance(commission, Stage.DECLINED, as_owner)
    with pytest.raises(Refused, match="declined by now"):
        advance(old, Stage.WITHDRAWN, as_owner)


def test_only_known_facts_can_be_set(commission: Commission) -> None:
    with pytest.raises(TypeError, match="stage"):
        set_facts(commission, stage=timezone.now())
    set_facts(commission, checked_in_on=date(2026, 11, 25))
    commission.refresh_from_db()
    assert commission.checked_in_on == date(2026, 11, 25)


def test_colour_is_agreed_once_no_piece_waits(commission: Commission) -> None:
    piece = commission.pieces.get()
    now = timezone.now()
    agree_colour(piece, None)
    commission.refresh_from_db()
    assert commission.colour_agreed_at is None
    agree_colour(piece, now)
    commission.refresh_from_db()
    assert commission.colour_agreed_at == now
