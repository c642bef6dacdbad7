"""Writing into the outbox: threads, gathering, names, people without email."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from shopdesk.base import work as works
from shopdesk.base.refusals import Refused
from shopdesk.mail import actions
from shopdesk.mail.actions import Enclose, Person, clean_name
from shopdesk.mail.models import Email, Enclosure
from shopdesk.mail.queries import failed, sent, to_send, to_tell, waiting_count

NO_EMAIL = Person("Barnaby Quill", "")


def test_a_rollback_takes_the_email_with_it(note: Any) -> None:
    with transaction.atomic():
        note()
        transaction.set_rollback(True)
    assert not Email.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_an_email_is_never_written_outside_of_what_causes_it() -> None:
    with pytest.raises(AssertionError):
        actions.write("note", to=NO_EMAIL, sender=NO_EMAIL, context={}, thread="")


def test_a_worker_is_nudged_when_it_is_due_and_not_before(
    note: Any, nudged: list[str], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        note(due_at=timezone.now() + timedelta(hours=1))
        note(gather="progress 1")
        note(to=NO_EMAIL)
    assert nudged == []
    with django_capture_on_commit_callbacks(execute=True):
        note()
    assert nudged == ["shopdesk.mail.deliver"]


def test_a_thread_answers_itself_and_keeps_its_first(note: Any) -> None:
    first = note(thread="commission 7")
    note(thread="commission 8")
    note(thread="commission 7", to=NO_EMAIL)
    second = note(thread="commission 7")
    assert (first.in_reply_to, first.references) == ("", "")
    assert second.in_reply_to == second.references == first.message_id
    for _ in range(14):
        last = note(thread="commission 7")
    before = list(Email.objects.filter(thread="commission 7", way="email", pk__lt=last.pk).order_by("id"))
    line = last.references.split()
    assert line[0] == first.message_id
    assert line[1:] == [email.message_id for email in before[-10:]]
    assert last.in_reply_to == before[-1].message_id


def test_emails_without_a_thread_answer_nobody(note: Any) -> None:
    note(thread="")
    assert note(thread="").in_reply_to == ""


def test_message_ids_differ_and_carry_the_shops_host(note: Any, settings: Any) -> None:
    settings.PUBLIC_URL = "https://Desk.Tidewell.example.com:8443"
    made = {note().message_id for _ in range(5)}
    assert len(made) == 5
    assert all(re.fullmatch(r"<[0-9a-f-]{36}@desk\.tidewell\.example\.com>", one) for one in made)
    settings.PUBLIC_URL = "http://127.0.0.1:8000"
    assert note().message_id.endswith("@tidewell.example.com>")


# -- gathering -------------------------------------------------------------------------------------


def test_what_comes_while_one_waits_is_added_to_it(note: Any, settings: Any) -> None:
    settings.MAIL_GATHER_SECONDS = 600
    first = note(gather="progress 1", items=[{"text": "stripped"}])
    again = note(
        gather="progress 1",
        items=[{"text": "sanded"}],
        enclose=[Enclose("a.txt", "text/plain", text="a")],
    )
    other = note(gather="progress 2", items=[{"text": "oiled"}])
    assert again.pk == first.pk != other.pk
    kept = Email.objects.get(pk=first.pk)
    assert [item["text"] for item in kept.context["items"]] == ["stripped", "sanded"]
    assert [item["text"] for item in again.context["items"]] == ["stripped", "sanded"]
    assert kept.due_at == first.due_at
    assert 590 < (kept.due_at - kept.made_at).total_seconds() <= 600
    assert kept.enclosures.count() == 1


def test_the_first_may_go_at_once_and_what_follows_soon_gathers(note: Any, settings: Any) -> None:
    settings.MAIL_GATHER_SECONDS = 600
    message = {"gather": "message 1", "first_at_once": True}
    first = note(**message, items=[{"text": "one"}])
    assert first.due_at == first.made_at
    claimed = works.claim(to_send(), lease=timedelta(minutes=1))
    assert claimed is not None
    assert claimed == first
    assert works.finish(claimed)
    second = note(**message, items=[{"text": "two"}])
    assert second.due_at == first.made_at + timedelta(seconds=600)
    third = note(**message, items=[{"text": "three"}])
    assert third.pk == second.pk
    assert [item["text"] for item in third.context["items"]] == ["two", "three"]
    Email.objects.filter(pk=second.pk).update(
        state="done", tries=1, made_at=timezone.now() - timedelta(seconds=601)
    )
    later = note(**message)
    assert later.due_at == later.made_at
    other = note(gather="message 2", first_at_once=True)
    assert other.due_at == other.made_at


def test_what_follows_before_the_first_has_gone_is_added_to_it(note: Any) -> None:
    first = note(gather="message 1", first_at_once=True, items=[{"text": "one"}])
    second = note(gather="message 1", first_at_once=True, items=[{"text": "two"}])
    assert second.pk == first.pk
    assert second.due_at == first.due_at


def test_what_has_been_tried_gathers_no_more(note: Any) -> None:
    first = note(gather="progress 1", items=[{"text": "stripped"}], due_at=timezone.now())
    claimed = works.claim(to_send(), lease=timedelta(minutes=1))
    assert claimed is not None
    second = note(gather="progress 1", items=[{"text": "sanded"}])
    assert second.pk != first.pk
    assert works.put_off(claimed, timedelta(0))  # both wait now, and nothing stands in the way
    third = note(gather="progress 1", items=[{"text": "primed"}])
    assert third.pk == second.pk
    assert len(Email.objects.get(pk=first.pk).context["items"]) == 1


def test_words_to_tell_do_not_change_and_are_kept_as_they_were_told(note: Any) -> None:
    """The owner may be reading them out while more comes: that is for a second call."""
    first = note(gather="progress 1", to=NO_EMAIL, items=[{"text": "stripped"}])
    second = note(gather="progress 1", to=NO_EMAIL, items=[{"text": "sanded"}])
    assert [email.pk for email in to_tell()] == [first.pk, second.pk]
    actions.told(first)
    assert [email.pk for email in to_tell()] == [second.pk]
    kept = Email.objects.get(pk=first.pk)
    assert kept.told_at is not None
    assert kept.subject == "About the desk"
    assert "- stripped\n" in kept.text
    with pytest.raises(Refused):
        actions.told(first)


def test_an_email_in_line_again_collides_with_none_that_gathers(note: Any) -> None:
    first = note(gather="progress 1", due_at=timezone.now())
    claimed = works.claim(to_send(), lease=timedelta(minutes=1))
    assert claimed is not None
    works.give_up(claimed, "550 no such user")
    second = note(gather="progress 1")
    assert [email.pk for email in failed()] == [first.pk]
    actions.again(first)
    assert waiting_count() == 2
    assert Email.objects.get(pk=first.pk).tries == 0
    assert note(gather="progress 1").pk == second.pk
    with pytest.raises(Refused):
        actions.again(first)


def test_only_the_gathered_email_of_whoever_lost_the_race_is_made(note: Any, monkeypatch: Any) -> None:
    """Between look and insert somebody else inserts: the unique key says so, and the item goes to theirs."""
    look = QuerySet.first
    raced: list[Email | None] = []

    def too_early(rows: QuerySet[Email]) -> Email | None:
        if rows.model is Email and not raced:
            raced.append(None)
            raced[0] = note(gather="progress 1", items=[{"text": "first"}])
            return None
        return look(rows)

    monkeypatch.setattr(QuerySet, "first", too_early)
    email = note(gather="progress 1", items=[{"text": "second"}])
    assert raced == [email]
    assert [item["text"] for item in Email.objects.get().context["items"]] == ["first", "second"]


# -- names and addresses ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("Ottoline Brask", "Ottoline Brask"),
        ("  Zoë   Åkesson ", "Zoë Åkesson"),
        ("Ann\r\nBcc: all@example.com", "Ann Bcc: all@example.com"),
        ("Ann\u2028Lee\x00\x1b[31m", "Ann Lee [31m"),
        ("\u202eknaB eht", "knaB eht"),
        ("Pay\u200bPoint\ufeff", "PayPoint"),
        ("🪑", "🪑"),
        ("\ud800 lone", "lone"),
        ("", ""),
        ("x" * 500, "x" * 100),
    ],
)
def test_names_lose_what_nobody_sees(given: str, kept: str) -> None:
    assert clean_name(given) == kept


def test_without_an_address_the_words_are_for_telling(note: Any, work: Any, mailbox: list[Any]) -> None:
    email = note(to=Person("Barnaby Quill", "   "))
    assert email.way == Email.Way.TELL
    assert waiting_count() == 0
    work()
    assert mailbox == []
    assert [one.pk for one in to_tell()] == [email.pk]


def test_only_bytes_named_by_ref_have_to_be_waited_for(note: Any) -> None:
    email = note(
        enclose=[
            Enclose("q.pdf", "application/pdf", ref="documents:1"),
            Enclose("v.ics", "text/calendar", text="x"),
        ]
    )
    assert list(Enclosure.objects.filter(email=email).order_by("id").values_list("ready", flat=True)) == [
        False,
        True,
    ]
    assert not to_send().exists()


def test_gone_out_is_found_by_name_address_and_subject(note: Any, work: Any) -> None:
    note()
    note(to=Person("Zoë Åkesson", "zoe@example.com"), what="six chairs")
    work()
    assert sent().count() == 2
    for search in ("ottoline", "BRASK desk", "the desk"):
        assert [email.to_name for email in sent(search)] == ["Ottoline Brask"], search
    assert [email.to_name for email in sent("zoe@ chairs")] == ["Zoë Åkesson"]
    assert not sent("Quill").exists()
