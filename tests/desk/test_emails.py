"""Emails at the desk."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shopdesk.base import blobs
from shopdesk.base.sweep import beat
from shopdesk.clients.access import link, placeholder
from shopdesk.clients.actions import know_client
from shopdesk.clients.queries import grant_of
from shopdesk.mail.actions import Enclose, Person, write
from shopdesk.mail.models import Email

PAGE = reverse("desk:emails")
WALNUT = "Is it <b>walnut</b>?"
OTTOLINE = Person("Ottoline Brask", "ottoline@example.com")


def letter(to: Person = OTTOLINE, **rest: Any) -> Email:
    enclose = rest.pop("enclose", ())
    with transaction.atomic():
        return write(
            rest.pop("kind", "question"),
            to=to,
            sender=Person("Tidewell Bench", "hello@tidewell.example.com"),
            context={
                "pieces": "desk",
                "items": [{"text": "Is it <b>walnut</b>?", "pictures": 0}],
                "page": "shopdesk-link:desk/desk/",
                **rest,
            },
            thread="",
            enclose=enclose,
        )


def test_an_empty_desk_says_so(desk: Any) -> None:
    page = desk.get(PAGE).content.decode()
    assert "Nothing waits." in page
    assert "Nothing has gone out yet." in page
    assert "Tell them yourself" not in page
    assert "Did not go out" not in page
    assert "No worker has been seen yet." in page


def test_strangers_stay_out(client: Any, shop: Any) -> None:
    one = letter()
    for name in ("email", "email-html", "tell-done", "email-again"):
        answer = client.get(reverse(f"desk:{name}", args=[one.pk]))
        assert answer.status_code == 302
        assert answer.url.startswith(reverse("desk:sign-in"))


def test_it_says_when_a_worker_was_last_alive(desk: Any) -> None:
    beat()
    assert "A worker was last here" in desk.get(PAGE).content.decode()
    from shopdesk.base.models import Heartbeat

    Heartbeat.objects.update(seen_at=timezone.now() - timedelta(hours=2))
    page = desk.get(PAGE).content.decode()
    assert "No worker has been seen since" in page
    assert "nothing is lost" in page


def test_words_to_tell_with_the_real_link_until_ticked_off(desk: Any) -> None:
    person = know_client(name="Barnaby <i>Quill", email="", phone="(555) 0144")
    page = placeholder(grant_of(person), "/my/26-001/")
    one = letter(Person(person.name, ""), phone=person.phone, page=page)
    shown = desk.get(PAGE).content.decode()
    assert "Barnaby &lt;i&gt;Quill" in shown
    assert link(grant_of(person), "/my/26-001/") in shown
    assert "Is it &lt;b&gt;walnut&lt;/b&gt;?" in shown
    assert 'href="sms:5550144?body=' in shown
    assert f'data-copy="#words-{one.pk}"' in shown
    done = reverse("desk:tell-done", args=[one.pk])
    assert desk.get(done).status_code == 405
    answer = desk.post(done, follow=True)
    assert answer.redirect_chain == [(PAGE, 302)]
    assert "Barnaby &lt;i&gt;Quill knows." in answer.content.decode()
    assert "Tell them yourself" not in answer.content.decode()
    assert "told Barnaby" in answer.content.decode()
    assert link(grant_of(person), "/my/26-001/") not in answer.content.decode()
    assert "ticked off already" in desk.post(done, follow=True).content.decode()


def test_a_press_comes_back_to_the_desks_own_page_only(desk: Any) -> None:
    for back, landing in (("https://elsewhere.example.org/", PAGE), (PAGE, PAGE)):
        one = letter(Person("Barnaby", ""))
        answer = desk.post(reverse("desk:tell-done", args=[one.pk]), {"back": back})
        assert answer.url == landing


def test_a_failed_email_says_why_and_goes_again(desk: Any, work: Any, mailbox: list[Any]) -> None:
    one = letter()
    trouble = "ottoline@example.com was refused by the mail server: 550 <no> such user"
    Email.objects.update(state="failed", trouble=trouble, done_at=timezone.now())
    page = desk.get(PAGE).content.decode()
    assert "Did not go out" in page
    assert "550 &lt;no&gt; such user" in page
    assert "550 &lt;no&gt;" in desk.get(reverse("desk:email", args=[one.pk])).content.decode()
    answer = desk.post(reverse("desk:email-again", args=[one.pk]), follow=True)
    assert "It is back in line." in answer.content.decode()
    work()
    assert len(mailbox) == 1
    page = desk.get(PAGE).content.decode()
    assert "Did not go out" not in page
    assert "About your desk" in page


def test_what_went_out_is_shown_as_it_was_without_the_key(desk: Any, work: Any, client_person: Any) -> None:
    page = placeholder(grant_of(client_person), "/my/26-001/")
    one = letter(page=page, enclose=[Enclose("note.txt", "text/plain", text="Hügel")])
    work()
    shown = desk.get(reverse("desk:email", args=[one.pk])).content.decode()
    for part in (
        "Ottoline Brask &lt;ottoline@example.com&gt;",
        one.message_id[1:-1],
        "Went out",
        "…/my/26-001/",
    ):
        assert part in shown
    assert "shopdesk-link" not in shown
    assert "/in/" not in shown
    frame = desk.get(reverse("desk:email-html", args=[one.pk]))
    assert "sandbox" in frame["Content-Security-Policy"]
    assert "default-src 'none'" in frame["Content-Security-Policy"]
    assert frame["X-Frame-Options"] == "SAMEORIGIN"
    assert "Is it &lt;b&gt;walnut&lt;/b&gt;?" in frame.content.decode()
    assert "/in/" not in frame.content.decode()
    (enclosure,) = one.enclosures.all()
    saved = desk.get(reverse("desk:email-enclosed", args=[one.pk, enclosure.pk]))
    assert saved.content.decode() == "Hügel"
    assert saved["Content-Disposition"] == "attachment; filename*=UTF-8''note.txt"
    other = letter()
    assert desk.get(reverse("desk:email-enclosed", args=[other.pk, enclosure.pk])).status_code == 404


def test_an_enclosure_that_is_not_there_is_said(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(rest: str) -> blobs.Blob:
        raise blobs.NotYet

    monkeypatch.setitem(blobs._fetchers, "things", never)
    one = letter(enclose=[Enclose("q.pdf", "application/pdf", ref="things:1")])
    assert "q.pdf, being prepared" in desk.get(reverse("desk:email", args=[one.pk])).content.decode()
    (enclosure,) = one.enclosures.all()
    assert desk.get(reverse("desk:email-enclosed", args=[one.pk, enclosure.pk])).status_code == 404


def test_pictures_stand_in_the_page_that_shows_it(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a frame without a session they could not be asked for."""

    def fetch(rest: str) -> blobs.Blob:
        if rest == "2":
            raise blobs.NotYet
        return blobs.Blob(b"jpeg", "image/jpeg")

    monkeypatch.setitem(blobs._fetchers, "things", fetch)
    enclose = [
        Enclose(f"{n}.jpg", "image/jpeg", ref=f"things:{n}", cid=f"one-{n}", says=f"The top, {n}")
        for n in (1, 2)
    ]
    one = letter(enclose=[*enclose, Enclose("q.pdf", "application/pdf", ref="things:3")])
    frame = desk.get(reverse("desk:email-html", args=[one.pk]))
    assert "img-src data:" in frame["Content-Security-Policy"]
    shown = frame.content.decode()
    assert 'src="data:image/jpeg;base64,anBlZw==" alt="The top, 1"' in shown
    assert "The top, 2" not in shown
    assert "cid:" not in shown
    page = desk.get(reverse("desk:email", args=[one.pk])).content.decode()
    assert "[Picture: The top, 1]" in page
    assert "q.pdf" in page
    assert "1.jpg" not in page  # it is no attachment


def test_a_broken_template_breaks_no_page(desk: Any) -> None:
    one = letter(kind="never-written")
    letter(Person("Barnaby", ""), kind="never-written")
    assert "Never written" in desk.get(PAGE).content.decode()
    assert (
        "There are no words for the email" in desk.get(reverse("desk:email", args=[one.pk])).content.decode()
    )
    assert desk.get(reverse("desk:email-html", args=[one.pk])).status_code == 404
    assert desk.get(reverse("desk:email", args=[10_000])).status_code == 404


def test_a_long_list_is_paged_and_searched_in_the_same_number_of_statements(desk: Any) -> None:
    def statements() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert desk.get(PAGE).status_code == 200
        return len(seen)

    for n in range(3):
        letter(Person(f"Person {n}", f"p{n}@example.com"))
    Email.objects.update(state="done", done_at=timezone.now(), subject="About your desk")
    few = statements()
    for n in range(3, 70):
        letter(Person(f"Person {n}", f"p{n}@example.com"))
    Email.objects.update(state="done", done_at=timezone.now(), subject="About your desk")
    assert statements() == few
    page = desk.get(PAGE).content.decode()
    assert "1 of 3" in page
    assert "Person 69" in page
    assert "Person 3<" not in page
    assert "Person 3<" in desk.get(PAGE, {"q": "p3@"}).content.decode()
    assert "Nothing that went out has “zzz&lt;”" in desk.get(PAGE, {"q": "zzz<"}).content.decode()
    assert desk.get(PAGE, {"page": "nonsense"}).status_code == 200
    assert desk.get(PAGE, {"page": "99", "q": "x" * 5000}).status_code == 200


def test_without_a_mail_server_it_says_where_emails_go(desk: Any, settings: Any) -> None:
    settings.EMAIL_URL = ""
    assert str(settings.MAIL_FOLDER) in desk.get(PAGE).content.decode()
    settings.EMAIL_URL = "smtp://mail.example.com"
    assert str(settings.MAIL_FOLDER) not in desk.get(PAGE).content.decode()
