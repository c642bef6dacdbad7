"""A page takes the same number of SQL statements with twenty commissions and with two hundred."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shopdesk.commissions.models import Commission, Stage
from shopdesk.running.measures import statements, world

pytestmark = pytest.mark.django_db

MUST_BE_THERE = {
    *(
        "desk:today",
        "desk:commissions",
        "desk:commission",
        "desk:docket",
        "desk:emails",
        "desk:email",
        "desk:shop",
    ),
    *(
        "desk:quote",
        "desk:quote-revision",
        "desk:payment",
        "desk:sample",
        "desk:progress",
        "desk:visit pickup",
    ),
    *(
        "portal:mine",
        "portal:commission",
        "portal:quote",
        "portal:ask",
        "portal:sample-answer",
        "portal:visit drop-off",
    ),
    *(
        "desk:prices",
        "desk:price-rates",
        "desk:price-schedule",
        "desk:price-steps",
        "desk:price-step",
        "desk:price-materials",
        "desk:price-material",
        "desk:price-tools",
        "desk:price-tool",
        "desk:price-sheet",
        "desk:price-sheet-in materials",
        "desk:price-sheet-out steps",
    ),
    *(
        "desk:ballpark",
        "desk:visit site-visit",
        "desk:still-interested",
        "desk:propose-change",
        "desk:change",
        "desk:invoice",
        "portal:visit site-visit",
        "portal:change",
    ),
    *("portal:document", "portal:picture small", "intake:request"),
}
MOST_STATEMENTS = 40


def test_no_page_asks_more_of_the_database_for_more_commissions() -> None:
    made = world.furnish()
    assert Commission.objects.filter(client=made.fullest.client).count() == 2
    stages = set(Commission.objects.values_list("stage", flat=True))
    assert stages == set(Stage.values) - {Stage.DECLINED, Stage.WITHDRAWN}

    statements.count(made)  # what is read once and kept, and noted as seen
    few = {**statements.count(made), "one a row": once_a_row()}
    world.grow(200)
    assert Commission.objects.count() == 200
    pages = {
        page.name: page
        for page in statements.compared(few, {**statements.count(made), "one a row": once_a_row()})
    }

    found_out = pages.pop("one a row")
    assert (found_out.few, found_out.many, found_out.same) == (21, 201, False)
    assert pages.keys() >= MUST_BE_THERE
    assert [page for page in pages.values() if not page.same] == []
    assert [page for page in pages.values() if page.many > MOST_STATEMENTS] == []


def once_a_row() -> int:
    """What a careless page would take."""
    with CaptureQueriesContext(connection) as caught:
        for commission in Commission.objects.all():
            assert commission.client.name
    return len(caught)


def test_a_page_is_the_same_only_if_it_is_for_each_commission() -> None:
    few = {"desk:quote, 26-001": 3, "desk:quote, 26-002": 4}
    pages = statements.compared(few, {"desk:quote, 26-001": 4, "desk:quote, 26-002": 4})
    assert pages == [statements.Page("desk:quote", 4, 4, same=False)]


def test_pages_that_vanish_do_not_pass_unseen() -> None:
    with pytest.raises(AssertionError, match="desk:today"):
        statements.compared({"desk:today": 3, "desk:shop": 3}, {"desk:shop": 3})
