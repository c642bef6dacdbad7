"""Choices, allowances, prices by number, and what goes on top and comes off."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.quotes import actions
from shopdesk.quotes.choices import by_id, extremes
from shopdesk.quotes.models import Quote
from shopdesk.quotes.sums import totals_of
from shopdesk.quotes.typed import TypedLine, TypedOption, TypedPiece
from shopdesk.shop.models import Shop
from tests.quotes.making import send, typed

pytestmark = pytest.mark.django_db

TOP = [
    TypedOption("Top in clear lacquer", Decimal(0), choice="The top"),
    TypedOption("Top in oil", Decimal(35), choice="the  Top"),
    TypedOption("Knobs", Decimal("72.50"), True),
    TypedOption("Inside left", Decimal(-40)),
]


def ids(quote: Quote) -> dict[str, int]:
    return {option.text: option.pk for option in quote.options.all()}


def lined(commission: Commission, *lines: TypedLine) -> list[TypedPiece]:
    return [TypedPiece("desk", "Coats.", lines, commission.pieces.get(position=1).pk)]


def total(quote: Quote) -> str:
    assert quote.frozen is not None
    return str(next(row["amount"] for row in quote.frozen["sums"] if row["kind"] == "total"))


def test_exactly_one_of_a_choice(commission: Commission, as_owner: Who, as_client: Who) -> None:
    quote = send(commission, as_owner, options=TOP)
    by_text = ids(quote)
    assert quote.frozen is not None
    assert [choice["name"] for choice in quote.frozen["choices"]] == ["The top"], "however it was spaced"
    assert [one["text"] for one in quote.frozen["options"]] == ["Knobs", "Inside left"]
    with pytest.raises(Refused, match=r"^Choose one: The top\.$"):
        actions.accept(quote.pk, [by_text["Knobs"]], "Ottoline", as_client)
    both = [by_text["Top in clear lacquer"], by_text["Top in oil"]]
    with pytest.raises(Refused, match=r"^Choose only one: The top\.$"):
        actions.accept(quote.pk, both, "Ottoline", as_client)
    yes = actions.accept(quote.pk, [by_text["Top in oil"]], "Ottoline", as_client)
    assert yes.total == Decimal("720.80")  # 685.80 and the oil


def test_a_choice_of_one_way_is_no_choice(commission: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="“The top” has one way only"):
        send(commission, as_owner, options=TOP[:1])


def test_chosen_to_begin_with_only_in_a_choice_and_once(commission: Commission, as_owner: Who) -> None:
    draft = actions.start(commission, as_owner)
    alone = [TypedOption("Knobs", Decimal(5), preselected=True)]
    with pytest.raises(actions.Faulty, match="what they may add stays for them to tick"):
        actions.save(commission, typed(commission, options=alone), draft.edition, as_owner)
    twice = [TypedOption(text, Decimal(5), choice="Top", preselected=True) for text in ("a", "b")]
    with pytest.raises(actions.Faulty, match="Another one of this choice"):
        actions.save(commission, typed(commission, options=twice), draft.edition, as_owner)


def test_the_sum_before_anybody_chose(commission: Commission, as_owner: Who) -> None:
    quote = send(commission, as_owner, options=TOP)
    assert total(quote) == "$685.80", "with the lowest way"
    again = actions.start(commission, as_owner)
    begun = [TOP[0], TypedOption("Top in oil", Decimal(35), choice="The top", preselected=True)]
    kept = actions.save(commission, typed(commission, options=begun), again.edition, as_owner)
    assert total(actions.send(commission, kept.edition, as_owner)) == "$720.80", "with what is chosen"


def test_every_answer_is_looked_at_before_sending(commission: Commission, as_owner: Who) -> None:
    options = [
        TypedOption("Oil", Decimal(-300), choice="Top"),
        TypedOption("Lacquer", Decimal(0), choice="Top"),
        TypedOption("Inside left", Decimal(-400)),
    ]
    with pytest.raises(Refused, match="would be below zero"):
        send(commission, as_owner, options=options)
    assert {frozenset(one) for one in extremes(dict(enumerate(options)))} == {
        frozenset(one) for one in ({0}, {0, 2}, {1}, {1, 2})
    }


def test_the_client_chooses_on_the_page(
    portal: Browser, commission: Commission, as_owner: Who, desk: Browser
) -> None:
    quote = send(commission, as_owner, options=TOP)
    by_text = ids(quote)
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert "Choose one: The top" in page
    assert page.count('type="radio"') == 2
    assert 'type="radio" name="choice-1"' in page
    assert " checked" not in page, "nothing is chosen for them"
    one = reverse("portal:quote-revision", args=[commission.number, 1])
    ticked = {"choice-1": by_text["Top in oil"], "option": by_text["Inside left"]}
    sums = portal.get(one, ticked, headers={"HX-Request": "true"}).content.decode()
    assert "$680.80" in sums  # 685.80 + 35 - 40
    accept = reverse("portal:accept", args=[commission.number, 1])
    answer = {"name": "Ottoline", "terms": "on", "option": by_text["Inside left"], "shown": "645.80"}
    without = portal.post(accept, answer)
    assert without.status_code == 422
    assert "Choose one: The top." in without.content.decode()
    assert portal.post(accept, {**answer, **ticked, "shown": "680.80"}).status_code == 302
    quote.refresh_from_db()
    assert (quote.state, quote.acceptance.total) == ("accepted", Decimal("680.80"))
    assert (
        "Top in oil" in desk.get(reverse("desk:quote-revision", args=[commission.number, 1])).content.decode()
    )


@pytest.mark.parametrize(
    ("quantity", "price"), [("3", "240.00"), ("4", "288.00"), ("7.999", "575.93"), ("8", "544.00")]
)
def test_a_price_by_number(commission: Commission, as_owner: Who, quantity: str, price: str) -> None:
    by_number = [(Decimal(4), Decimal(72)), (Decimal(8), Decimal(68))]
    line = TypedLine("finish", "Chairs", Decimal(80), Decimal(quantity), "", by_number=by_number)
    quote = send(commission, as_owner, pieces=lined(commission, line), options=[], show_lines=True)
    assert quote.frozen is not None
    shown = quote.frozen["pieces"][0]["lines"][0]
    assert shown["amount"] == price
    assert shown["by_number"] == ["from 4: each 72.00", "from 8: each 68.00"]
    assert totals_of(quote).totals.total == Decimal(price)


def test_prices_by_number_that_cannot_be(commission: Commission, as_owner: Who) -> None:
    draft = actions.start(commission, as_owner)
    for by_number, sentence in (
        ([(Decimal(4), Decimal(7)), (Decimal(4), Decimal(6))], "each number once"),
        ([(Decimal(0), Decimal(7))], "each number once"),
        ([(Decimal(4), Decimal(-7))], "not below zero"),
    ):
        line = TypedLine("finish", "Chairs", Decimal(80), by_number=by_number)
        with pytest.raises(actions.Faulty, match=sentence):
            actions.save(
                commission, typed(commission, pieces=lined(commission, line)), draft.edition, as_owner
            )


def test_an_allowance_says_so_to_the_client(portal: Browser, commission: Commission, as_owner: Who) -> None:
    line = TypedLine("repair", "Worm holes in the legs", Decimal(60), allowance=True)
    quote = send(commission, as_owner, pieces=lined(commission, line), options=[])
    assert quote.frozen is not None
    assert quote.frozen["pieces"][0]["lines"] == []
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert "as an allowance: Worm holes in the legs, 60.00." in page
    assert "settled by what it comes to" in page


@pytest.mark.parametrize(
    ("head", "rows", "whole"),
    [
        ({"minimum": Decimal(700)}, [("Up to our smallest charge", "21.60")], "$707.64"),
        ({"minimum": Decimal(600)}, [], "$685.80"),
        ({"rush": True, "rush_share": Decimal(25)}, [("Done sooner, 25 %", "169.60")], "$857.25"),
        ({"rush": False, "rush_share": Decimal(25)}, [], "$685.80"),
        ({"discount": Decimal("67.84")}, [("For two at once", "−67.84")], "$617.22"),
        ({"discount": Decimal(5000)}, [("For two at once", "−678.40")], "$0.00"),
    ],
)
def test_on_top_and_off(
    commission: Commission, as_owner: Who, head: dict[str, Any], rows: list[tuple[str, str]], whole: str
) -> None:
    """678.40 of work, 118.40 of it taxed at 6.25 %; what comes on top or off is taxed in that proportion."""
    quote = send(commission, as_owner, options=[], discount_words="For two at once", **head)
    assert quote.frozen is not None
    sums = [(row["label"], row["amount"]) for row in quote.frozen["sums"]]
    assert [row for row in rows if row not in sums] == []
    assert total(quote) == whole
    known = ("Up to", "Done", "For two")
    assert len([label for label, _ in sums if label.startswith(known)]) == len(rows)


def test_extremes_of_no_options() -> None:
    assert all(answer == set() for answer in extremes(by_id([])))


def test_a_discount_of_everything_leaves_no_tax_on_single_items(
    commission: Commission, as_owner: Who
) -> None:
    """Where tax is rounded on each item, the discount comes off each of them."""
    Shop.objects.update(tax_basis="item")
    lines = [TypedLine("materials", f"Screws {n}", Decimal("0.07"), taxable=True) for n in range(9)]
    quote = send(
        commission,
        as_owner,
        pieces=lined(commission, *lines),
        options=[],
        discount=Decimal(9),
        deposit_share=Decimal(0),
    )
    assert total(quote) == "$0.00"


def test_what_a_draft_still_needs(commission: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="at least one piece"):
        send(commission, as_owner, pieces=[], options=[])
    draft = actions.start(commission, as_owner)
    kept = actions.save(commission, typed(commission, pieces=lined(commission)), draft.edition, as_owner)
    with pytest.raises(Refused, match="at least one line with a price"):
        actions.send(commission, kept.edition, as_owner)


def test_a_tax_of_everything_is_no_tax(commission: Commission, as_owner: Who, desk: Browser) -> None:
    draft = actions.start(commission, as_owner)
    kept = actions.save(commission, typed(commission), draft.edition, as_owner)
    Quote.objects.update(tax_rate=Decimal(100))
    with pytest.raises(Refused, match="below 100 percent"):
        actions.send(commission, kept.edition, as_owner)
    page = desk.get(reverse("desk:quote", args=[commission.number]))
    assert page.status_code == 200
    assert "below 100 percent" in page.content.decode()


@pytest.mark.parametrize(
    ("head", "sentence"),
    [
        ({"rush": True}, "how many percent"),
        ({"rush_share": Decimal(400)}, "between nothing and 200"),
        ({"minimum": Decimal(-1)}, "without a minus"),
        ({"discount": Decimal(9_999_999)}, "not believable"),
    ],
)
def test_what_cannot_come_on_top(
    commission: Commission, as_owner: Who, head: dict[str, Any], sentence: str
) -> None:
    draft = actions.start(commission, as_owner)
    with pytest.raises(actions.Faulty, match=sentence):
        actions.save(commission, typed(commission, **head), draft.edition, as_owner)
