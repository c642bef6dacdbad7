"""A colour is proposed, answered, kept; the first coat waits for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.clients.actions import know_client
from shopdesk.colours import actions
from shopdesk.colours.actions import NewSample
from shopdesk.colours.models import Sample
from shopdesk.colours.queries import samples_of, still_open
from shopdesk.commissions.actions import NewPiece, add_piece, set_facts
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.photos.actions import take_in
from tests.conftest import MakePicture, enter

pytestmark = pytest.mark.django_db

BROWN = NewSample(
    "Slipway brown", "W-9", "satin", "dye under oil", "#5C3A26", "On a board of the same walnut."
)


@pytest.fixture
def on_the_bench(commission: Commission) -> Commission:
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.IN_WORK, sample_promised=True)
    commission.refresh_from_db()
    return commission


def propose(commission: Commission, who: Who, new: NewSample = BROWN) -> Sample:
    return actions.propose(commission.pieces.order_by("position")[0], new, who)


def test_a_proposed_sample_asks_the_client(
    on_the_bench: Commission,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
    picture_file: MakePicture,
) -> None:
    board = take_in(picture_file(), "board.jpg")
    sample = actions.propose(on_the_bench.pieces.get(), BROWN, as_owner, board)
    assert (sample.round, sample.state, sample.screen_colour) == (1, "proposed", "#5c3a26")
    assert sample.shot is not None
    assert sample.shot.kind == "sample"
    work()
    (asked,) = mailbox
    assert asked.subject == "A sample for your writing desk: is it the one?"
    assert "Screens show colours wrongly" in asked.body
    assert still_open() == [sample]


def test_approving_lets_the_first_coat_on(on_the_bench: Commission, as_owner: Who, as_client: Who) -> None:
    sample = propose(on_the_bench, as_owner)
    with pytest.raises(Refused, match="promises a sample"):
        bench.first_coat(on_the_bench, as_owner)
    actions.approve(sample.pk, "Ottoline Brask", as_client)
    bench.first_coat(on_the_bench, as_owner)
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is not None
    assert on_the_bench.first_coat_at is not None
    assert JournalLine.objects.filter(verb="first coat", reason="").count() == 1


def test_the_owner_steps_past_the_sample_with_a_reason(on_the_bench: Commission, as_owner: Who) -> None:
    propose(on_the_bench, as_owner)
    bench.first_coat(on_the_bench, as_owner, past="She chose it here last spring")
    assert JournalLine.objects.get(verb="first coat").reason == "She chose it here last spring"


def test_asking_again_keeps_the_round_and_the_next_one_follows(
    on_the_bench: Commission, as_owner: Who, as_client: Who
) -> None:
    first = propose(on_the_bench, as_owner)
    actions.ask_again(first.pk, "Ottoline Brask", "A touch too red", as_client)
    assert [(sample.pk, sample.state) for sample in still_open()] == [(first.pk, "again")]
    second = propose(on_the_bench, as_owner, NewSample("Slipway brown, less red"))
    assert [sample.pk for sample in still_open()] == [second.pk]
    assert [(sample.round, sample.state) for sample in samples_of(on_the_bench)] == [
        (2, "proposed"),
        (1, "again"),
    ]
    actions.approve(second.pk, "Ottoline Brask", as_client)
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is not None


def test_a_new_sample_opens_an_agreed_colour_again(
    on_the_bench: Commission, as_owner: Who, as_client: Who
) -> None:
    actions.approve(propose(on_the_bench, as_owner).pk, "Ottoline Brask", as_client)
    propose(on_the_bench, as_owner, NewSample("Another"))
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is None


def test_with_two_pieces_the_colour_is_agreed_when_both_are(
    on_the_bench: Commission, as_owner: Who, as_client: Who
) -> None:
    chair = add_piece(on_the_bench, NewPiece("armchair"), 2, 2026)
    desk_sample = propose(on_the_bench, as_owner)
    chair_sample = actions.propose(chair, NewSample("Darker"), as_owner)
    actions.approve(desk_sample.pk, "Ottoline Brask", as_client)
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is None
    actions.approve(chair_sample.pk, "Ottoline Brask", as_client)
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is not None


def test_where_a_sample_is_promised_every_piece_waits_for_its_own(
    on_the_bench: Commission, as_owner: Who, as_client: Who, desk: Browser
) -> None:
    chair = add_piece(on_the_bench, NewPiece("armchair"), 2, 2026)
    actions.approve(propose(on_the_bench, as_owner).pk, "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="promises a sample"):
        bench.first_coat(on_the_bench, as_owner)
    page = desk.get(reverse("desk:commission", args=[on_the_bench.number])).content.decode()
    assert 'still to agree: <span class="part-of">armchair</span>' in page
    actions.approve(actions.propose(chair, NewSample("Darker"), as_owner).pk, "Ottoline Brask", as_client)
    bench.first_coat(on_the_bench, as_owner)
    on_the_bench.refresh_from_db()
    assert on_the_bench.first_coat_at is not None


def test_the_owner_steps_past_the_sample_of_one_piece(
    on_the_bench: Commission, as_owner: Who, as_client: Who
) -> None:
    add_piece(on_the_bench, NewPiece("armchair"), 2, 2026)
    actions.approve(propose(on_the_bench, as_owner).pk, "Ottoline Brask", as_client)
    bench.first_coat(on_the_bench, as_owner, past="The armchair is only waxed")
    assert JournalLine.objects.get(verb="first coat").reason == "The armchair is only waxed"


def test_without_a_promise_only_what_was_shown_has_to_be_agreed(
    on_the_bench: Commission, as_owner: Who, as_client: Who
) -> None:
    set_facts(on_the_bench, sample_promised=False)
    add_piece(on_the_bench, NewPiece("armchair"), 2, 2026)
    actions.approve(propose(on_the_bench, as_owner).pk, "Ottoline Brask", as_client)
    on_the_bench.refresh_from_db()
    assert on_the_bench.colour_agreed_at is not None
    set_facts(on_the_bench, sample_promised=True)
    assert on_the_bench.colour_agreed_at is None, "a promise made later holds for every piece"


@pytest.mark.parametrize("stage", [Stage.CANCELLED, Stage.WITHDRAWN])
def test_what_has_ended_asks_for_no_colour(
    on_the_bench: Commission, as_owner: Who, desk: Browser, portal: Browser, stage: Stage
) -> None:
    sample = propose(on_the_bench, as_owner)
    link = reverse("portal:sample-answer", args=[on_the_bench.number, sample.pk])
    home = reverse("portal:commission", args=[on_the_bench.number])
    at_desk = reverse("desk:commission", args=[on_the_bench.number])
    new = reverse("desk:sample", args=[on_the_bench.number])
    assert link in portal.get(home).content.decode()
    assert new in desk.get(at_desk).content.decode()
    Commission.objects.filter(pk=on_the_bench.pk).update(stage=stage)
    assert link not in portal.get(home).content.decode()
    assert "This is the one" not in portal.get(link).content.decode()
    page = desk.get(at_desk).content.decode()
    assert new not in page
    assert "They approved it" not in page
    assert "Show it to them" not in desk.get(new).content.decode()
    answer = portal.post(link, {"name": "Ottoline Brask", "answer_is": "approve"})
    assert answer.status_code == 409
    sample.refresh_from_db()
    assert sample.state == "proposed"


def test_one_answer_to_one_sample(on_the_bench: Commission, as_owner: Who, as_client: Who) -> None:
    sample = propose(on_the_bench, as_owner)
    actions.approve(sample.pk, "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="answered already"):
        actions.ask_again(sample.pk, "Ottoline Brask", "On second thoughts", as_client)
    assert JournalLine.objects.filter(verb__startswith="sample a").count() == 1


@pytest.mark.parametrize(
    ("new", "field"),
    [(NewSample("  "), "name"), (NewSample("Green", screen_colour="green"), "screen_colour")],
)
def test_a_sample_needs_a_name_and_a_real_colour_code(
    on_the_bench: Commission, as_owner: Who, new: NewSample, field: str
) -> None:
    with pytest.raises(Refused) as refused:
        propose(on_the_bench, as_owner, new)
    assert refused.value.field == field


def test_two_open_samples_of_one_piece_are_refused(on_the_bench: Commission, as_owner: Who) -> None:
    propose(on_the_bench, as_owner)
    with pytest.raises(Refused, match="still waiting"):
        propose(on_the_bench, as_owner, NewSample("Another"))


@pytest.mark.parametrize("name", ["", "   ", "🪑🪑", "123"])
def test_a_name_without_a_letter_does_not_approve(
    on_the_bench: Commission, as_owner: Who, as_client: Who, name: str
) -> None:
    sample = propose(on_the_bench, as_owner)
    with pytest.raises(Refused, match="name"):
        actions.approve(sample.pk, name, as_client)
    sample.refresh_from_db()
    assert sample.state == "proposed"


def test_the_clients_page_says_that_screens_lie_and_takes_the_answer(
    on_the_bench: Commission, as_owner: Who, portal: Browser
) -> None:
    sample = propose(on_the_bench, as_owner)
    page = reverse("portal:sample-answer", args=[on_the_bench.number, sample.pk])
    assert "Screens show colours wrongly" in portal.get(page).content.decode()
    nameless = portal.post(page, {"name": "", "answer_is": "approve"})
    assert nameless.status_code == 422
    wordless = portal.post(page, {"name": "Ottoline Brask", "answer_is": "again", "answer": ""})
    assert wordless.status_code == 409
    assert "not right yet" in wordless.content.decode()
    assert portal.post(page, {"name": "Ottoline Brask", "answer_is": "approve"}).status_code == 302
    sample.refresh_from_db()
    assert (sample.state, sample.answered_by, sample.answered_in_shop) == (
        "approved",
        "Ottoline Brask",
        False,
    )
    assert "Approved by Ottoline Brask" in portal.get(page).content.decode()


def test_another_client_cannot_answer(on_the_bench: Commission, as_owner: Who) -> None:
    sample = propose(on_the_bench, as_owner)
    other = enter(know_client(name="Teal Ambrose", email="teal@example.com", phone=""))
    page = reverse("portal:sample-answer", args=[on_the_bench.number, sample.pk])
    assert other.post(page, {"name": "Teal", "answer_is": "approve"}).status_code == 404


def test_a_sample_of_another_commission_is_not_reached_by_ones_own_number(
    on_the_bench: Commission, as_owner: Who, as_client: Who, portal: Browser, client_person: Any
) -> None:
    sample = propose(on_the_bench, as_owner)
    page = reverse("portal:sample-answer", args=["26-999", sample.pk])
    assert portal.get(page).status_code == 404


def test_the_owner_proposes_and_writes_down_an_answer_given_in_the_shop(
    on_the_bench: Commission, desk: Browser, picture_file: MakePicture
) -> None:
    page = reverse("desk:sample", args=[on_the_bench.number])
    piece = on_the_bench.pieces.get()
    typed = {"piece": piece.pk, "name": "Slipway brown", "screen_colour": "brown", "photos": picture_file()}
    wrong = desk.post(page, typed)
    assert wrong.status_code == 422
    assert "#rrggbb" in wrong.content.decode()
    answer = desk.post(page, {**typed, "screen_colour": "#5c3a26", "photos": picture_file()})
    assert answer.status_code == 302
    sample = Sample.objects.get()
    said = desk.post(
        reverse("desk:sample-answer", args=[on_the_bench.number, sample.pk]),
        {"answer": "approve", "name": ""},
    )
    assert said.status_code == 302
    sample.refresh_from_db()
    assert (sample.state, sample.answered_by, sample.answered_in_shop) == ("approved", "Ottoline Brask", True)
