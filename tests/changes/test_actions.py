"""Changing what was agreed: proposed, accepted, declined, taken back; and what follows."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.db import IntegrityError

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.changes import actions
from shopdesk.changes.models import Change
from shopdesk.changes.queries import at_hand, changes_of
from shopdesk.clients.actions import know_client
from shopdesk.commissions.models import Commission, JournalLine, Shot, Stage
from shopdesk.deposits import actions as money
from shopdesk.deposits.models import AgreedChange
from shopdesk.deposits.queries import Standing, standing
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.quotes.actions import accept as accept_quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.changes.making import propose
from tests.conftest import MakePicture
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    """Accepted at 685.80 (118.40 of it taxed at 6.25 %: 7.40), deposit 342.90."""
    accept_quote(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


def stands(commission: Commission) -> Standing:
    commission.refresh_from_db()
    found = standing(commission)
    assert found is not None
    return found


def test_proposing_freezes_orders_and_writes(
    agreed: Commission, as_owner: Who, picture_file: MakePicture
) -> None:
    before = agreed.ready_on
    change = propose(agreed, as_owner, pictures=[take_in(picture_file("worm.jpg"), "worm.jpg")])
    assert (change.number, change.state, change.tax, change.gross) == (
        1, "proposed", Decimal("7.50"), Decimal("127.50"),
    )  # fmt: skip
    rows = {row["label"]: row["amount"] for row in change.frozen["sums"]}
    assert rows == {
        "Without tax": "120.00",
        "Sales tax, 6.25 %": "7.50",
        "This change, tax included": "+127.50",
        "Agreed until now, tax included": "685.80",
        "Together": "$813.30",
    }
    assert change.frozen["pictures"][0]["ref"] == f"pictures:{change.shots.get().picture_id}:medium"
    assert change.shots.get().kind == Shot.Kind.PROGRESS
    assert "It takes 4 days longer: ready about" in change.frozen["time_words"][0]
    assert change.document.template == "change"
    email = Email.objects.get(kind="change")
    assert email.enclosures.get(cid="").ref == change.document.ref
    assert email.enclosures.exclude(cid="").count() == 1
    assert email.context["price"] == "$127.50 more, tax included"
    now = stands(agreed)
    assert (now.price, now.due, agreed.ready_on) == (Decimal("685.80"), Decimal("685.80"), before)


def test_a_yes_moves_what_is_due_and_when_it_is_ready(
    agreed: Commission, as_owner: Who, as_client: Who
) -> None:
    before = agreed.ready_on
    assert before is not None
    change = actions.accept(propose(agreed, as_owner).pk, " Ottoline  Brask ", as_client)
    now = stands(agreed)
    assert (now.price, now.due) == (Decimal("813.30"), Decimal("813.30"))
    assert (now.agreed.tax, now.taxed) == (Decimal("14.90"), Decimal("238.40"))
    assert agreed.ready_on == before + timedelta(days=4)
    assert (change.state, change.name, change.way, change.address) == (
        "accepted", "Ottoline Brask", "page", "127.0.0.1",
    )  # fmt: skip
    assert len(change.content_sha256) == 64
    row = AgreedChange.objects.get()
    assert (row.net, row.tax, row.number) == (Decimal(120), Decimal("7.50"), 1)
    with pytest.raises(TypeError):
        row.save()
    told = Email.objects.get(kind="change-accepted")
    assert (told.context["together"], told.context["due"]) == ("$813.30", "$813.30")
    assert told.enclosures.get().ref == change.document.ref
    assert Email.objects.get(kind="change-answered").context["answer"] == "accepted"
    verbs = JournalLine.objects.filter(commission=agreed).values_list("verb", flat=True)
    assert {"change proposed", "change accepted"} <= set(verbs)


def test_the_tax_of_changes_is_the_tax_of_the_whole(
    agreed: Commission, as_owner: Who, as_client: Who
) -> None:
    """On the whole: 118.40 + 0.07 + 0.07 + 0.07, taxed once; each alone would carry no tax at all."""
    for _ in range(3):
        actions.accept(propose(agreed, as_owner, price=Decimal("0.07"), days=0).pk, "O. Brask", as_client)
    now = stands(agreed)
    assert now.taxed == Decimal("118.61")
    assert now.agreed.tax == Decimal("7.41")  # 7.413125
    assert [change.tax for change in now.changes] == [Decimal(0), Decimal("0.01"), Decimal(0)]


def test_by_item_each_change_is_taxed_alone(
    commission: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    Shop.objects.update(tax_basis="item")
    accept_quote(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    for _ in range(3):
        actions.accept(propose(commission, as_owner, price=Decimal("0.07"), days=0).pk, "O. B.", as_client)
    assert stands(commission).agreed.tax == Decimal("7.40")


def test_less_work_lowers_the_price_and_may_settle_it(
    agreed: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    today = today_at(shop)
    money.record_payment(agreed, Decimal("600"), today, "card", "", as_owner)
    change = propose(agreed, as_owner, price=Decimal("-85.80"), taxable=False, days=0)
    assert change.frozen["price_words"] == "$85.80 less"
    actions.accept(change.pk, "Ottoline Brask", as_client)
    now = stands(agreed)
    assert (now.due, now.owed) == (Decimal(0), Decimal(0))
    assert agreed.settled_at is not None


def test_paid_more_than_it_became_is_owed_and_given_back(
    agreed: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    today = today_at(shop)
    money.record_payment(agreed, Decimal("685.80"), today, "card", "", as_owner)
    change = propose(agreed, as_owner, price=Decimal(-100), taxable=False, days=0)
    actions.accept(change.pk, "Ottoline Brask", as_client)
    assert (stands(agreed).due, stands(agreed).owed) == (Decimal(0), Decimal(100))
    assert Email.objects.get(kind="change-accepted").context["owed"] == "$100.00"
    money.refund(agreed, Decimal(120), today, "card", "Less work, and a scratch", as_owner)
    now = stands(agreed)
    assert (now.due, now.owed, now.held, now.waived) == (
        Decimal(0), Decimal(0), Decimal("565.80"), Decimal(20),
    )  # fmt: skip


def test_less_work_may_complete_the_deposit(
    agreed: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    money.record_payment(agreed, Decimal(100), today_at(shop), "card", "", as_owner)
    change = propose(agreed, as_owner, price=Decimal("-585.80"), taxable=False, days=0)
    actions.accept(change.pk, "Ottoline Brask", as_client)
    assert stands(agreed).deposit_open == 0
    assert agreed.stage == Stage.BOOKED


@pytest.mark.parametrize(
    ("other", "sentence"),
    [
        ({"reason": " "}, "what was found"),
        ({"words": "..."}, "what is done"),
        ({"price": Decimal("1.005")}, "2 decimals"),
        ({"price": Decimal(0), "days": 0}, "neither the price nor the day"),
        ({"days": -1}, "from 0 to 365"),
        ({"days": 400}, "from 0 to 365"),
        ({"price": Decimal(-700), "taxable": False}, "more than was agreed"),
        ({"price": Decimal(-119), "taxable": True}, "more than the taxed work"),
        ({"price": Decimal("99999999999")}, "believable"),
    ],
)
def test_nonsense_is_refused(agreed: Commission, as_owner: Who, other: Any, sentence: str) -> None:
    with pytest.raises(Refused, match=sentence):
        propose(agreed, as_owner, **other)
    assert not Change.objects.exists()
    assert not Email.objects.filter(kind="change").exists()


def test_nothing_changes_before_anything_is_agreed_or_after_it_is_home(
    commission: Commission, as_owner: Who, as_client: Who
) -> None:
    with pytest.raises(Refused, match="requested"):
        propose(commission, as_owner)
    accept_quote(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    change = propose(commission, as_owner)
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.COLLECTED)
    with pytest.raises(Refused, match="collected"):
        actions.accept(change.pk, "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="collected"):
        propose(commission, as_owner)


def test_one_waits_at_a_time(agreed: Commission, as_owner: Who) -> None:
    first = propose(agreed, as_owner)
    with pytest.raises(Refused, match="Change 1 is still waiting"):
        propose(agreed, as_owner)
    with pytest.raises(IntegrityError):
        Change.objects.create(
            commission=agreed, number=2, reason="r", words="w", currency="USD", price=Decimal(1),
            taxable=False, tax=Decimal(0), document=first.document, frozen={},
        )  # fmt: skip


def test_a_change_is_answered_once(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    change = propose(agreed, as_owner)
    actions.accept(change.pk, "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="accepted already"):
        actions.accept(change.pk, "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="accepted already"):
        actions.decline(change.pk, "", as_client)
    with pytest.raises(Refused, match="accepted already"):
        actions.withdraw(change.pk, "", as_owner)
    assert stands(agreed).price == Decimal("813.30")


def test_a_no_leaves_everything_as_it_was(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    before = agreed.ready_on
    change = actions.decline(propose(agreed, as_owner).pk, "Too much\nfor a rail", as_client)
    assert (change.state, change.answer) == ("declined", "Too much for a rail")
    assert (stands(agreed).price, agreed.ready_on) == (Decimal("685.80"), before)
    assert Email.objects.get(kind="change-answered").context["reason"] == "Too much for a rail"
    assert propose(agreed, as_owner).number == 2, "a number is not used twice"


def test_what_is_taken_back_cannot_be_accepted(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    change = propose(agreed, as_owner)
    with pytest.raises(Refused, match="shop's"):
        actions.withdraw(change.pk, "", as_client)
    actions.withdraw(change.pk, "We found a way without it", as_owner)
    assert Email.objects.get(kind="change-withdrawn").context["reason"] == "We found a way without it"
    with pytest.raises(Refused, match="taken this change back"):
        actions.accept(change.pk, "Ottoline Brask", as_client)


def test_only_its_client_answers(agreed: Commission, as_owner: Who) -> None:
    change = propose(agreed, as_owner)
    other = know_client(name="Lev Amsel", email="lev@example.com", phone="", address="")
    with pytest.raises(Refused, match="not yours"):
        actions.accept(change.pk, "Lev Amsel", Who("client", other.pk))
    with pytest.raises(Refused, match="not yours"):
        actions.decline(change.pk, "", Who("client", other.pk))


def test_a_yes_on_paper_or_by_word(
    agreed: Commission, as_owner: Who, shop: Shop, picture_file: MakePicture
) -> None:
    change = propose(agreed, as_owner)
    today = today_at(shop)
    with pytest.raises(Refused, match="on paper or by word"):
        actions.accept(change.pk, "Ottoline Brask", as_owner)
    with pytest.raises(Refused, match="picture"):
        actions.accept(change.pk, "Ottoline Brask", as_owner, "paper")
    with pytest.raises(Refused, match="still to come"):
        actions.accept(change.pk, "Ottoline Brask", as_owner, "word", today + timedelta(days=1))
    with pytest.raises(Refused, match="before the change"):
        actions.accept(change.pk, "Ottoline Brask", as_owner, "word", today - timedelta(days=1))
    with pytest.raises(Refused, match="name"):
        actions.accept(change.pk, "42", as_owner, "word")
    paper = take_in(picture_file("signed.jpg"), "signed.jpg")
    done = actions.accept(change.pk, "Ottoline Brask", as_owner, "paper", today, "At the door", paper)
    assert (done.way, done.answer, done.user_id) == ("paper", "At the door", as_owner.id)
    assert done.paper is not None
    assert not done.paper.for_client
    assert Email.objects.get(kind="change-accepted").context["way"] == "on paper"
    assert not Email.objects.filter(kind="change-answered").exists()
    assert at_hand() == [], "what the owner wrote down needs nobody to note it"


def test_the_desk_is_told_until_it_notes_it(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    change = propose(agreed, as_owner)
    actions.decline(change.pk, "", as_client)
    assert [one.pk for one in at_hand() if one.answered_at] == [change.pk]
    with pytest.raises(Refused, match="shop's"):
        actions.note(change.pk, as_client)
    actions.note(change.pk, as_owner)
    assert at_hand() == []


def test_looking_them_up_costs_the_same_for_many(
    agreed: Commission, as_owner: Who, as_client: Who, picture_file: MakePicture,
    django_assert_num_queries: Callable[[int], Any],
) -> None:  # fmt: skip
    for _ in range(3):
        pictures = [take_in(picture_file("a.jpg"), "a.jpg"), take_in(picture_file("b.jpg"), "b.jpg")]
        actions.decline(propose(agreed, as_owner, pictures=pictures).pk, "", as_client)
    with django_assert_num_queries(2):
        found = changes_of(agreed)
        assert [len(list(change.shots.all())) for change in found] == [2, 2, 2]
        assert [shot.picture.pk for change in found for shot in change.shots.all()]


def test_the_emails_can_be_read_and_carry_the_pdf(
    agreed: Commission, as_owner: Who, as_client: Who, work: Callable[[], None],
    mailbox: list[EmailMessage], picture_file: MakePicture,
) -> None:  # fmt: skip
    change = propose(agreed, as_owner, pictures=[take_in(picture_file("worm.jpg"), "worm.jpg")])
    work()
    proposed = next(mail for mail in mailbox if "need your answer" in mail.subject)
    assert "the left rail is eaten by worm" in proposed.body
    assert "$127.50 more, tax included: $813.30 in all." in " ".join(proposed.body.split())
    assert len(proposed.attachments) == 1
    actions.accept(change.pk, "Ottoline Brask", as_client)
    work()
    agreed_to = next(mail for mail in mailbox if mail.subject.startswith("Agreed: change 1"))
    assert "Still due: $813.30." in agreed_to.body
    assert "will now be ready about" in " ".join(agreed_to.body.split())
    assert len(agreed_to.attachments) == 1
    to_shop = next(mail for mail in mailbox if "has accepted change 1" in mail.subject)
    assert to_shop.to == ["hello@tidewell.example.com"]
