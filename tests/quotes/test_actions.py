"""Writing, sending, accepting, declining: what each does, and what it refuses."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, JournalLine, Letter, Stage
from shopdesk.deposits.queries import standing
from shopdesk.documents.models import Document
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.quotes import actions
from shopdesk.quotes.content import content_sha256
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.quotes.queries import acceptance_of, draft_of, history, open_quote
from shopdesk.quotes.signed import keep_hashes
from shopdesk.quotes.typed import TypedLine, TypedOption, TypedPiece
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send, typed

pytestmark = pytest.mark.django_db


def option(quote: Quote, start: str) -> int:
    return next(one.pk for one in quote.options.all() if one.text.startswith(start))


def kinds(commission: Commission) -> list[str]:
    return [letter.email.kind for letter in Letter.objects.filter(commission=commission).order_by("id")]


def test_a_draft_begins_with_the_shops_own_terms(commission: Commission, as_owner: Who, shop: Shop) -> None:
    draft = actions.start(commission, as_owner)
    assert (draft.state, draft.revision, draft.tax_rate, draft.terms) == (
        "draft",
        1,
        shop.tax_rate,
        shop.terms,
    )
    assert draft.good_until == today_at(shop) + timedelta(days=14)
    assert [piece.name for piece in draft.pieces.all()] == ["writing desk"]
    assert actions.start(commission, as_owner).pk == draft.pk


def test_an_older_edition_is_refused_and_changes_nothing(commission: Commission, as_owner: Who) -> None:
    first = actions.start(commission, as_owner)
    saved = actions.save(commission, typed(commission, note="Mine"), first.edition, as_owner)
    with pytest.raises(actions.Older, match="saved this quote at") as caught:
        actions.save(commission, typed(commission, note="Theirs"), first.edition, as_owner)
    assert caught.value.edition == saved.edition
    kept = draft_of(commission)
    assert kept is not None
    assert kept.note == "Mine"


def test_a_piece_that_is_new_is_added_to_the_commission(commission: Commission, as_owner: Who) -> None:
    draft = actions.start(commission, as_owner)
    more = [
        *typed(commission).pieces,
        TypedPiece("Armchair", "Strip and oil.", [TypedLine("finish", "Oil", Decimal(200))]),
    ]
    actions.save(commission, typed(commission, pieces=more), draft.edition, as_owner)
    pieces = list(commission.pieces.order_by("position"))
    assert [piece.name for piece in pieces] == ["writing desk", "Armchair"]
    assert pieces[1].lead_caution, "age and finish are unknown"


def test_a_piece_of_another_commission_is_refused(
    commission: Commission, as_owner: Who, client_person: Client, as_client: Who
) -> None:
    wish = Wish("And this")
    other = open_commission(NewCommission(client_person, "page", wish, [NewPiece("stool")]), as_client)
    draft = actions.start(commission, as_owner)
    theirs = TypedPiece("stool", "x", [], piece_id=other.pieces.get().pk)
    with pytest.raises(Refused, match="another commission"):
        actions.save(commission, typed(commission, pieces=[theirs]), draft.edition, as_owner)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"deposit_share": Decimal(101)}, "0 to 100"),
        ({"deposit_share": Decimal(-1)}, "0 to 100"),
        ({"starts_on": -1}, "That day is over"),
        ({"good_until": -1}, "That day is over"),
        ({"starts_on": 20, "ready_on": 10}, "before the work starts"),
        ({"ready_on": 5000}, "check the year"),
        ({"line": {"unit_price": Decimal(-5)}}, "not below zero"),
        ({"line": {"unit_price": Decimal(1_000_000)}}, "not believable"),
        ({"line": {"quantity": Decimal(0)}}, "More than nothing"),
        ({"line": {"unit_price": Decimal("999_999"), "quantity": Decimal(40)}}, "not believable"),
        ({"line": {"text": "  "}}, "what it is for"),
        ({"option": Decimal(-2_000_000)}, "not believable"),
    ],
)
def test_what_cannot_be_right_is_refused(
    commission: Commission, as_owner: Who, shop: Shop, change: dict[str, Any], sentence: str
) -> None:
    draft = actions.start(commission, as_owner)
    values: dict[str, Any] = {
        name: today_at(shop) + timedelta(days=value) if isinstance(value, int) else value
        for name, value in change.items()
        if name not in ("line", "option")
    }
    if "line" in change:
        line = {"kind": "finish", "text": "Coats", "unit_price": Decimal(10), **change["line"]}
        piece = typed(commission).pieces[0]
        values["pieces"] = [TypedPiece(piece.name, piece.words, [TypedLine(**line)], piece.piece_id)]
    if "option" in change:
        values["options"] = [TypedOption("Cheaper", change["option"])]
    with pytest.raises(actions.Faulty, match=sentence):
        actions.save(commission, typed(commission, **values), draft.edition, as_owner)


def test_many_lines_that_are_each_believable_may_not_be_together(
    commission: Commission, as_owner: Who
) -> None:
    draft = actions.start(commission, as_owner)
    piece = typed(commission).pieces[0]
    lines = [TypedLine("other", "Gilding", Decimal(900_000)) for _ in range(12)]
    with pytest.raises(actions.Faulty, match="Together"):
        actions.save(
            commission,
            typed(commission, pieces=[TypedPiece(piece.name, "x", lines, piece.piece_id)]),
            draft.edition,
            as_owner,
        )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"pieces": []}, "at least one piece"),
        ({"good_until": None}, "until when"),
        ({"words": ""}, "Say in words"),
        ({"lines": []}, "at least one line"),
        ({"options": [TypedOption("Much cheaper", Decimal(-5000))]}, "below zero"),
    ],
)
def test_what_is_missing_keeps_it_from_going_out(
    commission: Commission, as_owner: Who, change: dict[str, Any], sentence: str
) -> None:
    piece = typed(commission).pieces[0]
    if "words" in change or "lines" in change:
        words, lines = change.get("words", piece.words), change.get("lines", piece.lines)
        change = {"pieces": [TypedPiece(piece.name, words, lines, piece.piece_id)]}
    with pytest.raises(Refused, match=sentence):
        send(commission, as_owner, **change)
    assert not Email.objects.filter(kind="quote").exists()
    assert not Document.objects.exists()


def test_sending_freezes_orders_and_writes(commission: Commission, as_owner: Who) -> None:
    quote = send(commission, as_owner)
    commission.refresh_from_db()
    assert (quote.state, commission.stage) == ("sent", Stage.QUOTED)
    assert commission.answered_at is not None
    assert quote.frozen is not None
    assert json.loads(json.dumps(quote.frozen)) == quote.frozen
    assert quote.frozen["pieces"][0]["price"] == "678.40"
    assert quote.frozen["pieces"][0]["size"] == "55 1/8 in wide"
    assert quote.frozen["pieces"][0]["lines"] == [], "the owner's own lines stay at the desk"
    assert [(row["amount"], row["kind"]) for row in quote.frozen["sums"]] == [
        ("678.40", "sum"), ("7.40", "sum"), ("$685.80", "total"), ("342.90", "after"), ("342.90", "after"),
    ]  # fmt: skip
    assert "hold lead" in quote.frozen["lead_caution"]
    assert quote.document is not None
    assert quote.document.content == quote.frozen
    email = Email.objects.get(kind="quote")
    assert email.enclosures.get().ref == quote.document.ref
    assert (
        JournalLine.objects.filter(commission=commission, words__startswith="Quote sent: revision 1").count()
        == 1
    )


def test_lines_are_shown_only_when_the_shop_wants_it(commission: Commission, as_owner: Who) -> None:
    quote = send(commission, as_owner, show_lines=True)
    assert quote.frozen is not None
    lines = quote.frozen["pieces"][0]["lines"]
    assert lines[2] == {
        "text": "Enamel and primer",
        "quantity": "2",
        "unit": "l",
        "amount": "118.40",
        "allowance": "",
        "by_number": [],
    }


def test_sending_twice_sends_one(commission: Commission, as_owner: Who) -> None:
    quote = send(commission, as_owner)
    with pytest.raises(Refused, match="Revision 1 has been sent already"):
        actions.send(commission, quote.edition, as_owner)
    assert Email.objects.filter(kind="quote").count() == 1


def test_what_was_read_through_is_what_goes_out(commission: Commission, as_owner: Who) -> None:
    draft = actions.start(commission, as_owner)
    read = actions.save(commission, typed(commission), draft.edition, as_owner)
    actions.save(commission, typed(commission, deposit_share=Decimal(0)), read.edition, as_owner)
    with pytest.raises(actions.Older):
        actions.send(commission, read.edition, as_owner)


def test_a_revision_supersedes_and_leaves_the_first_as_it_was(commission: Commission, as_owner: Who) -> None:
    first = send(commission, as_owner)
    frozen = first.frozen
    draft = actions.start(commission, as_owner)
    assert draft.revision == 2
    assert next(line.text for line in draft.pieces.get().lines.all()) == "Clean and degrease"
    assert open_quote(commission) == first, "while it is being written, the first one counts"
    second = actions.send(commission, draft.edition, as_owner)
    first.refresh_from_db()
    assert (first.state, first.frozen, second.state) == ("superseded", frozen, "sent")
    assert [quote.revision for quote in history(commission)] == [2, 1]
    with pytest.raises(Refused, match="newer revision"):
        actions.accept(first.pk, [], "Ottoline Brask", Who("client", commission.client_id, "203.0.113.9"))


def test_accepting_stores_what_was_accepted(
    commission: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    quote = send(commission, as_owner)
    knobs = option(quote, "New brass")
    acceptance = actions.accept(quote.pk, [knobs], "  Ottoline   Brask ", as_client)
    # 678.40 + 72.50 = 750.90; tax 6.25 % of 118.40 + 72.50 = 190.90 is 11.93125, by SSUTA 324 11.93
    assert acceptance.total == Decimal("762.83")
    assert acceptance.name == "Ottoline Brask"
    assert acceptance.address == "127.0.0.1"
    assert quote.frozen is not None
    assert acceptance.content_sha256 == content_sha256(quote.frozen)
    assert [one.pk for one in acceptance.options.all()] == [knobs]
    commission.refresh_from_db()
    assert (commission.stage, commission.starts_on, commission.sample_promised) == (
        "agreed",
        quote.starts_on,
        True,
    )
    account = standing(commission)
    assert account is not None
    assert (account.price, account.deposit, account.due) == (
        Decimal("762.83"),
        Decimal("381.42"),
        Decimal("762.83"),
    )
    assert account.deposit_due_on == today_at(shop) + timedelta(days=7)
    assert kinds(commission)[-2:] == ["quote-accepted", "quote-answered"]


def test_a_second_acceptance_is_refused(commission: Commission, as_owner: Who, as_client: Who) -> None:
    quote = send(commission, as_owner)
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="accepted already"):
        actions.accept(quote.pk, [option(quote, "New brass")], "Ottoline Brask", as_client)
    assert Acceptance.objects.count() == 1
    with pytest.raises(Refused, match="agreed already"):
        actions.start(commission, as_owner)


def test_an_expired_quote_is_refused_but_a_yes_in_time_counts(
    commission: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    quote = send(commission, as_owner)
    today = today_at(shop)
    Quote.objects.filter(pk=quote.pk).update(
        good_until=today - timedelta(days=1),
        sent_at=quote.sent_at - timedelta(days=9) if quote.sent_at else None,
    )
    with pytest.raises(Refused, match="was good until"):
        actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    with pytest.raises(Refused, match="was good until"):
        actions.accept(quote.pk, [], "Ottoline Brask", as_owner, "word", today)
    said = actions.accept(
        quote.pk, [], "Ottoline Brask", as_owner, "word", today - timedelta(days=2), "On the phone"
    )
    assert (said.way, said.note, said.said_on) == ("word", "On the phone", today - timedelta(days=2))
    assert "quote-answered" not in kinds(commission), "the owner knows"


@pytest.mark.parametrize("name", ["", "🪑🪑", "   ", "123"])
def test_a_name_has_letters(commission: Commission, as_owner: Who, as_client: Who, name: str) -> None:
    quote = send(commission, as_owner)
    with pytest.raises(Refused, match="Type the name"):
        actions.accept(quote.pk, [], name, as_client)


def test_paper_needs_its_picture(commission: Commission, as_owner: Who, picture_file: Any) -> None:
    quote = send(commission, as_owner)
    with pytest.raises(Refused, match="picture of the signed sheet"):
        actions.accept(quote.pk, [], "Ottoline Brask", as_owner, "paper")
    picture = take_in(picture_file("signed.jpg"), "signed.jpg")
    acceptance = actions.accept(quote.pk, [], "Ottoline Brask", as_owner, "paper", paper_picture=picture)
    assert acceptance.paper is not None
    assert (acceptance.paper.picture, acceptance.paper.kind) == (picture, "paper")


def test_options_of_another_quote_are_refused(commission: Commission, as_owner: Who, as_client: Who) -> None:
    first = send(commission, as_owner)
    draft = actions.start(commission, as_owner)
    second = actions.send(commission, draft.edition, as_owner)
    with pytest.raises(Refused, match="not in this quote"):
        actions.accept(second.pk, [option(first, "New brass")], "Ottoline Brask", as_client)


def test_another_client_cannot_answer(commission: Commission, as_owner: Who) -> None:
    quote = send(commission, as_owner)
    stranger = Who("client", commission.client_id + 1, "203.0.113.9")
    with pytest.raises(Refused, match="not yours"):
        actions.accept(quote.pk, [], "Somebody Else", stranger)
    with pytest.raises(Refused, match="not yours"):
        actions.decline(quote.pk, "", stranger)


def test_without_a_deposit_the_place_is_booked_at_once(
    commission: Commission, as_owner: Who, as_client: Who
) -> None:
    quote = send(commission, as_owner, deposit_share=Decimal(0))
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    assert commission.stage == Stage.BOOKED
    assert commission.deposit_in_at is not None
    assert commission.settled_at is None
    assert Email.objects.get(kind="quote-accepted").context["booked"] == "yes"


def test_declining_withdraws_and_the_owner_can_quote_again(
    commission: Commission, as_owner: Who, as_client: Who
) -> None:
    quote = send(commission, as_owner)
    actions.decline(quote.pk, "Too dear for us", as_client)
    commission.refresh_from_db()
    assert commission.stage == Stage.WITHDRAWN
    assert open_quote(commission) is None
    with pytest.raises(Refused, match="cannot be answered"):
        actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    draft = actions.start(commission, as_owner)
    actions.send(commission, draft.edition, as_owner)
    commission.refresh_from_db()
    assert (commission.stage, commission.ended_at) == (Stage.QUOTED, None)


def test_a_request_is_declined_in_the_owners_words(commission: Commission, as_owner: Who) -> None:
    actions.decline_request(commission, "Dear Ottoline,\n\nwe are full until spring.", as_owner)
    assert commission.stage == Stage.DECLINED
    assert Email.objects.get(kind="declined").context["words"] == [
        "Dear Ottoline,",
        "we are full until spring.",
    ]


def test_the_emails_can_be_read_and_carry_the_pdf(
    commission: Commission,
    as_owner: Who,
    as_client: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    quote = send(commission, as_owner, note="A fine desk.")
    work()
    actions.accept(quote.pk, [option(quote, "New brass")], "Ottoline Brask", as_client)
    work()
    by_subject = {mail.subject: mail for mail in mailbox}
    offer = by_subject["A price for your writing desk"]
    assert "$685.80" in offer.body
    assert "A fine desk." in offer.body
    assert any(f"quote-{commission.number}-revision-1.pdf" in str(part) for part in offer.attachments)
    agreed = by_subject["Agreed: your writing desk, $762.83"]
    assert "New brass knobs, fitted" in agreed.body
    assert "$381.42" in agreed.body
    told = by_subject[f"{commission.number}: Ottoline Brask has accepted the quote, $762.83"]
    assert told.to == ["hello@tidewell.example.com"]
    acceptance = acceptance_of(commission)
    assert acceptance is not None
    assert acceptance.quote.document is not None
    assert acceptance.document_sha256 == acceptance.quote.document.sha256 != ""


def test_a_yes_before_the_pdf_was_made_gets_its_hash_later(
    commission: Commission, as_owner: Who, as_client: Who, work: Callable[[], None]
) -> None:
    actions.accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    assert Acceptance.objects.get().document_sha256 == ""
    assert keep_hashes() == 0, "nothing to keep before it is made"
    work()
    acceptance = Acceptance.objects.select_related("quote__document").get()
    assert acceptance.quote.document is not None
    assert acceptance.document_sha256 == acceptance.quote.document.sha256 != ""
    assert keep_hashes() == 0
