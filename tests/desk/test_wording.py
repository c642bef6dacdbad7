"""The catalogue of emails at the desk, and the shop's own words."""

from __future__ import annotations

from html import unescape

import pytest
from django.db import transaction
from django.test import Client as Session
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import THE_SHOP, Who
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission
from shopdesk.mail import catalogue, own
from shopdesk.mail.models import Email, OwnWords
from shopdesk.mail.words import words

KIND = "on-hold"
SUBJECT = "A pause: your {pieces}"
BODY = "Dear {name},\n\nwe have to wait: {reason}\n\n[Look here]({page})"


def page_of(kind: str = KIND) -> str:
    return reverse("desk:wording", args=[kind])


def typed(**rest: str) -> dict[str, str]:
    return {"subject": SUBJECT, "body": BODY, "seen": "", "shown": "", "keep": "1", **rest}


@pytest.fixture
def held(commission: Commission) -> Email:
    with transaction.atomic():
        email = to_client(commission, KIND, {"reason": "the hinges come <late>."})
    assert email is not None, "it is necessary"
    return email


def test_the_catalogue_lists_every_kind_by_who_gets_it(desk: Session, db: None) -> None:
    answer = desk.get(reverse("desk:wordings"))
    groups = {
        title: [row.about.kind for _, rows in sections for row in rows]
        for title, sections in answer.context["groups"]
    }
    assert len(groups["To the client"]) > len(groups["To you"]) > 5
    assert sorted(groups["To the client"] + groups["To you"]) == catalogue.kinds()
    assert "client-message" in groups["To you"]
    shown = unescape(answer.content.decode())
    for kind in catalogue.kinds():
        about = catalogue.about(kind)
        assert page_of(kind) in shown
        assert about.purpose in shown
        assert about.goes in shown
    assert "The client can switch it off." in shown
    assert "It always goes." in shown


@pytest.mark.parametrize("kind", catalogue.kinds())
def test_every_kind_has_a_page_with_its_words_fields_and_look(desk: Session, kind: str) -> None:
    answer = desk.get(page_of(kind))
    shown = unescape(answer.content.decode())
    assert answer.status_code == 200
    assert catalogue.shipped(kind).body.split("\n")[0] in shown
    assert not answer.context["form"].errors
    assert answer.context["html"]
    for name, says in catalogue.about(kind).fields.items():
        assert f"{{{name}}}" in shown
        assert says in shown
    assert 'sandbox title="The email as it looks' in shown
    assert "shopdesk-link:" not in answer.content.decode()


def test_a_kind_that_there_is_not_is_not_found(desk: Session, db: None) -> None:
    assert desk.get(page_of("never-written")).status_code == 404
    assert desk.post(reverse("desk:wording-back", args=["never-written"])).status_code == 404


def test_own_words_go_out_from_then_on_and_what_went_out_stays(desk: Session, held: Email) -> None:
    before = words(held)
    assert desk.post(page_of(), typed()).status_code == 302
    now = words(held)
    assert now.subject == f"A pause: your {held.context['pieces']}"
    assert f"Dear {held.context['name']},\n\nwe have to wait: the hinges come <late>." in now.text
    assert "Look here: shopdesk-link:" in now.text
    assert "the hinges come &lt;late&gt;." in now.html
    held.worded_at = held.made_at
    held.subject, held.text, held.html = before.subject, before.text, before.html
    assert words(held) == before
    assert "your words, of" in desk.get(reverse("desk:wordings")).content.decode()


def test_back_to_the_original(desk: Session, held: Email) -> None:
    original = words(held)
    desk.post(page_of(), typed())
    shown = unescape(desk.get(page_of()).content.decode())
    assert "<del>On hold for now: your {pieces}</del>" in shown
    assert "<ins>A pause: your {pieces}</ins>" in shown
    seen = OwnWords.objects.get().changed_at.isoformat()
    assert desk.post(reverse("desk:wording-back", args=[KIND]), {"seen": seen}).status_code == 302
    assert not OwnWords.objects.exists()
    assert words(held) == original


def test_two_windows_do_not_write_over_each_other_unknowing(desk: Session, db: None) -> None:
    desk.post(page_of(), typed())
    second = desk.post(page_of(), typed(subject="Another pause: {pieces}"))  # it had seen the original
    assert second.status_code == 409
    assert OwnWords.objects.get().subject == SUBJECT
    shown = unescape(second.content.decode())
    assert "changed in another window" in shown
    assert "Another pause: {pieces}" in shown
    assert SUBJECT in shown
    seen = second.context["form"]["seen"].value()
    assert desk.post(page_of(), typed(subject="Another pause: {pieces}", seen=seen)).status_code == 302
    kept = OwnWords.objects.get()
    assert (kept.subject, kept.edition) == ("Another pause: {pieces}", 2)
    # Taken back and written anew elsewhere: an old page is still an old page.
    own.drop(KIND, kept.changed_at, Who("owner", 1))
    own.keep(KIND, "Third {pieces}", BODY, None, Who("owner", 1))
    assert desk.post(page_of(), typed(seen=kept.changed_at.isoformat())).status_code == 409
    back = desk.post(reverse("desk:wording-back", args=[KIND]), {"seen": seen}, follow=True)
    assert "Read them before" in back.content.decode()
    assert OwnWords.objects.get().subject == "Third {pieces}"


WRONG = [
    ("subject", " ", "Write a subject"),
    ("subject", "x" * 201, "201 characters; 200 fit"),
    ("subject", "Hello\nBcc: all@example.com", "one line"),
    ("subject", "Hello\r\nBcc: all@example.com", "one line"),
    ("subject", "About {peices}", "Did you mean {pieces}?"),
    ("subject", "See {page}", "cannot hold a link"),
    ("subject", "{", "write \\{"),
    ("body", "", "Write the words"),
    ("body", "{reason}" + "x" * 10_000, "10,000 fit"),
    ("body", "{reason}\n" + "- x\n\n  > y\n\n" * 800, "more than mail programs show"),
    ("body", "[x]: y", "{reason} has to stay in"),
    ("body", "{peices} [Open]{page}", "Did you mean {pieces}? {reason} has to stay in"),
    ("body", "{peices} {reason} [Open]{page}", "not whole"),
    ("body", "Hello {reson}", "Did you mean {reason}?"),
    ("body", "Hello", "{reason} has to stay in"),
    ("body", "{reason} {% if x %}", "write \\{"),
    ("body", "{reason} [Open your page]{page}", "not whole"),
    ("body", "{reason} [Open your page] ({page})", "not whole"),
    ("body", "{reason} [Open your page]({page}", "not whole"),
    ("body", "{reason} [Open]()", "leads nowhere"),
    ("body", "{reason} [Open](javascript:alert(1))", "no address that an email may lead to"),
    ("body", "{reason} [Open](shopdesk-link:client/1/my/)", "not whole"),
    ("body", "{reason} [Open](data:text/html,x)", "no address"),
    ("body", "{reason} [Open](//elsewhere.example.com)", "no address"),
    ("body", "{reason} [Open](https://x@elsewhere.example.com/)", "no address"),
    ("body", "{reason} [Open](www.example.com/care)", "Did you mean https://www.example.com/care?"),
    ("body", "{reason} [Open][one]\n\n[one]: javascript:x", "no address"),
    ("body", "{reason} [Open]({pieces})", "A link may lead to {page}"),
    ("body", "{reason} [Open](https://example.com/{page})", "A link may lead to {page}"),
]


@pytest.mark.parametrize(("field", "value", "complaint"), WRONG)
def test_words_that_are_wrong_are_not_kept_and_it_is_said_beside_the_field(
    desk: Session, db: None, field: str, value: str, complaint: str
) -> None:
    answer = desk.post(page_of(), typed(**{field: value}))
    assert answer.status_code == 422
    assert complaint in " ".join(answer.context["form"].errors[field])
    assert not OwnWords.objects.exists()
    assert value.strip()[:30] in unescape(answer.content.decode())


def test_fields_that_are_missing_are_named_together(db: None) -> None:
    fault = own.faults_in("quote", "A price", "Here: {total} {good_until} [it]({page}) {where_it_is} {dates}")
    assert [one.text for one in fault] == ["{what_changed} and {note} have to stay in."]


def test_links_that_are_typed_out_are_kept_as_they_are(desk: Session, held: Email) -> None:
    body = (
        "{reason}\n\n[How to care](https://example.com/care?a=1&b=2) "
        "[write](mailto:hello@tidewell.example.com) [call](tel:+15550118) <https://example.com/> {page}"
    )
    assert desk.post(page_of(), typed(body=body)).status_code == 302
    made = words(held)
    assert 'href="https://example.com/care?a=1&amp;b=2"' in made.html
    assert 'href="mailto:hello@tidewell.example.com"' in made.html
    assert 'href="tel:+15550118"' in made.html
    assert "How to care (https://example.com/care?a=1&b=2)" in made.text
    assert f'<a href="{held.context["page"]}"' in made.html


def test_html_and_marks_and_keys_in_own_words_are_text(desk: Session, held: Email) -> None:
    body = "<b>bold</b> <script>alert(1)</script> \ue0000\ue001 \u202eabc {reason} shopdesk-link:client/9/my/"
    assert desk.post(page_of(), typed(body=body)).status_code == 302
    made = words(held)
    assert "&lt;b&gt;bold&lt;/b&gt; &lt;script&gt;" in made.html
    assert "<script" not in made.html
    assert "<b>bold</b>" in made.text
    assert "0 abc the hinges" in made.text
    assert "shopdesk-link:" not in made.text


def test_lines_are_kept_as_they_were_typed(desk: Session, held: Email) -> None:
    assert desk.post(page_of(), typed(body="{reason}\r\n\r\nWith best wishes\r\nMarten")).status_code == 302
    made = words(held)
    assert "With best wishes\nMarten\n" in made.text
    assert "With best wishes<br" in made.html


def test_looking_keeps_nothing_and_shows_what_was_typed(desk: Session, held: Email) -> None:
    look = {key: value for key, value in typed().items() if key != "keep"}
    answer = desk.post(page_of(), {**look, "look": "1"})
    assert answer.status_code == 200
    assert f"A pause: your {held.context['pieces']}" in unescape(answer.content.decode())
    assert "the hinges come <late>." in answer.context["text"]
    sample = desk.post(page_of(), {**look, "look": "1", "shown": "0"})
    assert "two weeks late" in sample.context["text"]
    assert Email.objects.get().worded_at is None


def test_a_live_look_is_the_email_alone_and_leaves_it_where_something_is_wrong(
    desk: Session, held: Email
) -> None:
    OwnWords.objects.all().delete()
    look = {key: value for key, value in typed().items() if key != "keep"}
    live = desk.post(page_of(), look, headers={"HX-Request": "true"})
    assert live.content.decode().strip().startswith('<div id="preview">')
    assert "HX-Retarget" not in live
    wrong = desk.post(page_of(), look | {"body": "{resaon}"}, headers={"HX-Request": "true"})
    assert wrong["HX-Retarget"] == "#wrong"
    assert "Did you mean {reason}?" in unescape(wrong.content.decode())
    assert not OwnWords.objects.exists()


def test_words_with_a_field_that_is_no_more_are_left_aside_and_the_desk_says_so(
    desk: Session, held: Email, caplog: pytest.LogCaptureFixture
) -> None:
    original = words(held)
    OwnWords.objects.create(kind=KIND, subject="x {gone}", body="{reason} {gone}", changed_at=held.made_at)
    assert words(held) == original
    assert "left aside" in caplog.text
    for page in (reverse("desk:wordings"), page_of(), reverse("desk:emails")):
        assert "left aside" in desk.get(page).content.decode(), page
    assert desk.get(page_of()).context["said_subject"] == original.subject


def test_words_that_come_to_nothing_for_one_email_are_left_aside_for_it(
    held: Email, caplog: pytest.LogCaptureFixture
) -> None:
    held.context["shop_phone"] = ""
    original = words(held)
    OwnWords.objects.create(kind=KIND, subject="{shop_phone}", body="{reason}", changed_at=held.made_at)
    assert words(held) == original
    assert "left aside" in caplog.text


def test_only_the_owner_writes_them(db: None) -> None:
    for who in (Who("client", 1), THE_SHOP):
        with pytest.raises(Refused):
            own.keep(KIND, SUBJECT, BODY, None, who)
        with pytest.raises(Refused):
            own.drop(KIND, None, who)
