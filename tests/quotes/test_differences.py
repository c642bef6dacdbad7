"""What a revision changes: shown at the desk before it goes, to the client, and in the email."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.quotes import actions
from shopdesk.quotes.differences import Difference, differences
from shopdesk.quotes.typed import TypedOption, TypedPiece
from tests.quotes.making import send, typed

pytestmark = pytest.mark.django_db


def revised(commission: Commission) -> dict[str, object]:
    first = typed(commission).pieces[0]
    words = "Clean, re-glue the veneer, four coats.\nThe top natural."
    dearer = [*first.lines[:1], *first.lines[2:]]
    return {
        "pieces": [TypedPiece(first.name, words, dearer, first.piece_id)],
        "options": [
            TypedOption("New brass knobs, fitted", Decimal("80"), True),
            TypedOption("Oil", Decimal(5), choice="The top", preselected=True),
            TypedOption("Lacquer", Decimal(0), choice="The top"),
        ],
    }


def test_the_same_is_no_change(commission: Commission, as_owner: Who) -> None:
    first = send(commission, as_owner)
    second = send(commission, as_owner)
    assert first.frozen is not None
    assert second.frozen is not None
    assert differences(first.frozen, second.frozen) == []


def test_line_by_line(commission: Commission, as_owner: Who) -> None:
    first = send(commission, as_owner)
    second = send(commission, as_owner, **revised(commission))
    assert first.frozen is not None
    assert second.frozen is not None
    found = differences(first.frozen, second.frozen)
    old, new = "Clean, re-glue the veneer, three coats.", "Clean, re-glue the veneer, four coats."
    assert found[:6] == [
        Difference("changed", "Writing desk", "678.40", "198.40"),
        Difference("changed", "Writing desk, what we do", old, new),
        Difference("changed", "If you like: New brass knobs, fitted", "72.50", "80.00"),
        Difference("added", "The top: Oil", "", "5.00, chosen to begin with"),
        Difference("added", "The top: Lacquer", "", "0.00"),
        Difference("gone", "If you like: Inside left as it is", "−40.00", ""),
    ]
    assert ("Total", "$685.80") in [(one.what, one.before) for one in found]
    assert found[0].said() == "Writing desk: 198.40, before 678.40"
    assert found[4].said() == "New: The top: Lacquer, 0.00"
    assert found[5].said() == "No longer: If you like: Inside left as it is, −40.00"


def test_the_desk_the_client_and_the_email_say_it(
    desk: Browser,
    portal: Browser,
    commission: Commission,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    send(commission, as_owner)
    work()
    mailbox.clear()
    draft = actions.start(commission, as_owner)
    draft = actions.save(commission, typed(commission, **revised(commission)), draft.edition, as_owner)
    before = desk.get(reverse("desk:quote-revision", args=[commission.number, 2])).content.decode()
    assert "What changed since revision 1" in before
    assert before.count('<tr class="gone">') == 1
    actions.send(commission, draft.edition, as_owner)
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert "What changed since revision 1" in page
    assert reverse("portal:quote-revision", args=[commission.number, 1]) in page
    first = portal.get(reverse("portal:quote-revision", args=[commission.number, 1])).content.decode()
    assert "What changed since" not in first
    assert "three coats" in first
    work()
    (letter,) = mailbox
    assert "What changed:" in letter.body
    assert "Writing desk: 198.40, before 678.40" in letter.body
    assert "No longer: If you like: Inside left as it is" in letter.body


def test_that_lines_are_shown_is_no_change_of_what_is_offered(commission: Commission, as_owner: Who) -> None:
    first = send(commission, as_owner)
    second = send(commission, as_owner, show_lines=True)
    assert differences(first.frozen or {}, second.frozen or {}) == []


def test_a_tax_that_rises_is_one_change(commission: Commission, as_owner: Who) -> None:
    first = send(commission, as_owner)
    second = send(commission, as_owner, rush=True, rush_share=Decimal(10))
    found = differences(first.frozen or {}, second.frozen or {})
    taxed = [one for one in found if "tax" in one.what]
    assert taxed == [Difference("changed", "Sales tax, 6.25 %", "7.40", "8.14")]
