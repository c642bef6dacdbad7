"""From a row to the bytes that are handed over: what stands in the header, pictures within the words, the
same every time."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from email import message_from_bytes, policy
from email.generator import BytesGenerator
from email.message import EmailMessage
from typing import Any

import pytest
from django.core.mail import get_connection
from django.db import transaction
from django.utils import timezone
from PIL import Image

from shopdesk.base import blobs
from shopdesk.mail import delivery, enclosed, links
from shopdesk.mail import message as messages
from shopdesk.mail.actions import MOST_PICTURES, Enclose, Person, write
from shopdesk.mail.frame import frame_of
from shopdesk.mail.message import BadAddress, DeadLink, message
from shopdesk.mail.models import Email
from shopdesk.mail.words import words
from tests.postbox import open_postbox

pytestmark = pytest.mark.django_db

SHOP = Person("Tidewell Bench", "hello@tidewell.example.com")
OTTOLINE = Person("Ottoline Brask", "ottoline@example.com")
KEY = "shopdesk-link:client/17/my/26-001/"

Post = Callable[..., Email]


@pytest.fixture
def things(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """`things["1"] = blob or error`: what "things:1" leads to; otherwise a picture."""
    kept: dict[str, Any] = {}
    square = io.BytesIO()
    Image.new("RGB", (40, 30), "#17645a").save(square, "JPEG")

    def fetch(name: str) -> blobs.Blob:
        found = kept.get(name, blobs.Blob(square.getvalue(), "image/jpeg"))
        if isinstance(found, Exception):
            raise found
        assert isinstance(found, blobs.Blob)
        return found

    monkeypatch.setitem(blobs._fetchers, "things", fetch)
    monkeypatch.setitem(links._writers, "client", lambda rest: f"https://shop.example.com/in/KEY/{rest}")
    monkeypatch.setitem(links._writers, "stop", lambda rest: f"https://shop.example.com/stop/KEY/{rest}")
    return kept


@pytest.fixture
def post(things: dict[str, Any]) -> Post:
    """`post(pictures=…)` writes an email that shows progress."""

    def make(
        kind: str = "progress",
        *,
        to: Person = OTTOLINE,
        pictures: int = 0,
        count: int | None = None,
        text: str = "Stripped to the oak.",
        enclose: Any = (),
        gather: str = "",
        **row: Any,
    ) -> Email:
        context = {
            "shop_name": SHOP.name,
            "name": to.name,
            "number": "26-001",
            "pieces": "writing desk",
            "page": KEY,
            "items": [{"text": text, "pictures": pictures if count is None else count}],
        }
        with transaction.atomic():
            email = write(
                kind,
                to=to,
                sender=SHOP,
                context=context,
                thread="commission 1",
                enclose=[*(picture(number) for number in range(1, pictures + 1)), *enclose],
                gather=gather,
            )
        Email.objects.filter(pk=email.pk).update(**row)
        return Email.objects.get(pk=email.pk)

    return make


def picture(number: int, says: str = "") -> Enclose:
    return Enclose(
        f"picture-{number}.jpg",
        "image/jpeg",
        ref=f"things:{number}",
        cid=f"one-{number}",
        says=says or f"The top, {number}",
        width=564,
        height=423,
    )


def worded(email: Email) -> Email:
    said = words(email)
    Email.objects.filter(pk=email.pk).update(
        subject=said.subject,
        text=said.text,
        html=said.html,
        worded_at=timezone.now().replace(microsecond=0),
    )
    return Email.objects.get(pk=email.pk)


def raw(email: Email) -> bytes:
    return message(email).message().as_bytes(linesep="\r\n")


def read(email: Email) -> EmailMessage:
    parsed = message_from_bytes(raw(email), policy=policy.default)
    assert isinstance(parsed, EmailMessage)
    return parsed


def types(parsed: EmailMessage) -> list[str]:
    return [part.get_content_type() for part in parsed.walk()]


def html_of(parsed: EmailMessage) -> str:
    part = parsed.get_body(("html",))
    assert part is not None
    return str(part.get_content())


def text_of(parsed: EmailMessage) -> str:
    part = parsed.get_body(("plain",))
    assert part is not None
    return str(part.get_content()).replace("\r\n", "\n")


# -- pictures ----------------------------------------------------------------------------------------------


def test_pictures_stand_within_the_html(post: Post) -> None:
    pdf = Enclose("Notes.pdf", "application/pdf", ref="things:9")
    parsed = read(worded(post(pictures=2, count=5, enclose=[pdf])))
    assert types(parsed) == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/jpeg",
        "image/jpeg",
        "application/pdf",
    ]
    related = next(part for part in parsed.walk() if part.get_content_type() == "multipart/related")
    assert related.get_param("type") == "text/html"  # RFC 2387, 3.1
    html = html_of(parsed)
    for number, part in enumerate(related.iter_attachments(), 1):
        cid = part["Content-ID"]
        assert cid == f"<one-{number}@tidewell.example.com>"
        assert f'src="cid:{cid[1:-1]}" alt="The top, {number}" width="564" height="423"' in html  # RFC 2392
        assert part.get_content_disposition() == "inline"
        assert part.get_filename() == f"picture-{number}.jpg"
        with Image.open(io.BytesIO(part.get_content())) as shown:
            assert shown.size == (40, 30)
    assert "And 3 more pictures on your page." in html
    said = text_of(parsed)
    assert "[Picture: The top, 1]\n[Picture: The top, 2]\nAnd 3 more pictures on your page.\n" in said


@pytest.mark.parametrize(
    ("pictures", "count", "more"),
    [
        (0, 0, ""),
        (0, 1, "With one picture on your page."),
        (0, 4, "With 4 pictures on your page."),
        (2, 3, "And one more picture on your page."),
        (3, 3, ""),
    ],
)
def test_what_it_does_not_show_is_said(post: Post, pictures: int, count: int, more: str) -> None:
    email = post(pictures=pictures, count=count)
    assert frame_of(email).more == more
    if not more:
        assert "on your page." not in words(email).text


def test_words_to_pass_on_show_nothing(post: Post) -> None:
    said = words(post(pictures=2, to=Person("Barnaby Quill", "")))
    assert "[Picture" not in said.text
    assert "cid:" not in said.html
    assert "(2 pictures on your page)" in said.text


def test_a_caption_is_no_markup_and_no_key(post: Post) -> None:
    says = f'"><script>x</script>\n\u202e{KEY} &'
    email = worded(post(enclose=[picture(1, says)]))
    parsed = read(email)
    assert "KEY/17/my/26-001/ &" not in text_of(parsed)
    assert '[Picture: "><script>x</script> shopdesk-link client/17/my/26-001/ &]' in text_of(parsed)
    assert "<script" not in html_of(parsed).replace('alt="&quot;><script>', "")
    assert 'alt="&quot;>' in html_of(parsed) or 'alt="&quot;&gt;' in html_of(parsed)


def test_gathering_shows_six_pictures_in_all(post: Post, settings: Any) -> None:
    settings.MAIL_GATHER_SECONDS = 600
    first = post(pictures=3, gather="progress 1")
    for start in (10, 20, 30):
        again = post(enclose=[picture(start + n) for n in range(3)], count=3, gather="progress 1")
        assert again.pk == first.pk
    assert first.enclosures.count() == MOST_PICTURES == 6
    assert frame_of(again).more == "And 6 more pictures on your page."


def test_a_picture_that_is_gone_holds_nothing_up(post: Post, things: dict[str, Any], mailbox: Any) -> None:
    things["1"] = blobs.Gone("it cannot be decoded")
    email = post(pictures=2)
    assert delivery.deliver_all() == 1
    sent = Email.objects.get(pk=email.pk)
    assert sent.state == "done"
    assert [row.ref for row in sent.enclosures.all()] == ["things:2"]
    assert "The top, 1" not in f"{sent.text}{sent.html}"
    assert "And one more picture on your page." in sent.text


def test_words_wait_for_a_picture_but_not_for_ever(post: Post, things: dict[str, Any], mailbox: Any) -> None:
    things["1"] = blobs.NotYet()
    email = post(pictures=2)
    assert delivery.deliver_all() == 0
    made_at = timezone.now() - enclosed.LATE - timedelta(seconds=1)
    Email.objects.filter(pk=email.pk).update(made_at=made_at)
    delivery.deliver_all()
    delivery.deliver_all()
    assert Email.objects.get(pk=email.pk).state == "done"
    assert "[Picture: The top, 1]" not in mailbox[0].body
    assert "[Picture: The top, 2]" in mailbox[0].body


def test_one_that_was_there_and_is_gone_is_taken_out_of_the_words(post: Post, things: dict[str, Any]) -> None:
    email = worded(post(pictures=2))
    assert "The top, 1" in email.html
    things["1"] = blobs.Gone("lost")
    parsed = read(email)
    assert "The top, 1" not in f"{html_of(parsed)}{text_of(parsed)}"
    assert "cid:one-1@" not in html_of(parsed)
    assert "The top, 2" in html_of(parsed)
    assert "[Picture: The top, 2]" in text_of(parsed)


def test_a_document_that_is_gone_still_stops_it(post: Post, things: dict[str, Any]) -> None:
    email = worded(post(enclose=[Enclose("Quote.pdf", "application/pdf", ref="things:1")]))
    things["1"] = blobs.Gone("lost")
    with pytest.raises(blobs.Gone):
        message(email)


def test_pictures_have_a_megabyte_together(
    post: Post, things: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1, 5):
        things[str(number)] = blobs.Blob(bytes(300_000), "image/jpeg")
    email = worded(post(pictures=4))
    parsed = read(email)
    assert types(parsed).count("image/jpeg") == 3
    assert "cid:one-4@" not in html_of(parsed)
    assert messages.PICTURE_BYTES == 1_000_000


def test_what_goes_out_in_one_brings_what_each_carries(post: Post) -> None:
    first = worded(post(pictures=1, enclose=[Enclose("a.txt", "text/plain", text="a")]))
    others = [
        post(pictures=1, enclose=[Enclose("a.txt", "text/plain", text="a")]),
        post(enclose=[picture(2), Enclose("b.txt", "text/plain", text="b")]),
    ]
    post(enclose=[picture(3)])
    Email.objects.filter(pk__in=[one.pk for one in others]).update(bundle=first, worded_at=first.worded_at)
    late = post(enclose=[picture(4)])  # found its way to the first after that had its words
    Email.objects.filter(pk=late.pk).update(bundle=first)
    parsed = read(first)
    assert types(parsed).count("image/jpeg") == 2
    assert [part.get_filename() for part in parsed.iter_attachments()] == ["a.txt", "b.txt"]


# -- header --------------------------------------------------------------------------------------------------


def test_answers_go_where_the_email_says(post: Post) -> None:
    tagged = "hello+c1.abc@tidewell.example.com"
    parsed = read(worded(post(reply_to=tagged)))
    assert str(parsed["Reply-To"]) == f"Tidewell Bench <{tagged}>"
    assert str(parsed["From"]) == "Tidewell Bench <hello@tidewell.example.com>"
    assert str(read(worded(post(reply_to="")))["Reply-To"]) == str(parsed["From"])


def test_what_can_be_stopped_says_how(post: Post, monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 2369, section 3.2, and RFC 8058, section 3.1: one https address, and the other field with just
    that value."""
    email = worded(post(stop="shopdesk-link:stop/17/news"))
    parsed = read(email)
    assert parsed["List-Unsubscribe"] == "<https://shop.example.com/stop/KEY/17/news>"
    assert parsed["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert "Stop the news with one press: https://shop.example.com/stop/KEY/17/news\n" in text_of(parsed)
    assert 'href="https://shop.example.com/stop/KEY/17/news"' in html_of(parsed)
    assert "KEY" not in f"{email.text}{email.html}"
    monkeypatch.setitem(links._writers, "stop", lambda rest: f"http://localhost:8000/stop/{rest}")
    local = read(email)
    assert local["List-Unsubscribe"] == "<http://localhost:8000/stop/17/news>"
    assert "List-Unsubscribe-Post" not in local


def test_what_always_goes_cannot_be_stopped(post: Post) -> None:
    parsed = read(worded(post(stop="")))
    assert not [field for field in parsed if field.lower().startswith("list-")]
    assert "press" not in text_of(parsed)


def test_a_way_to_stop_that_leads_nowhere_ends_it(post: Post, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(rest: str) -> str:
        raise LookupError(rest)

    email = worded(post(stop="shopdesk-link:stop/17/news"))
    monkeypatch.setitem(links._writers, "stop", gone)
    with pytest.raises(DeadLink):
        message(email)


@pytest.mark.parametrize(
    ("sort", "to", "automatic"),
    [
        ("news", OTTOLINE, "auto-generated"),
        ("necessary", OTTOLINE, "auto-generated"),
        ("reminder", OTTOLINE, "auto-generated"),
        ("answer", OTTOLINE, None),
        ("answer", Person("Tidewell Bench", "Hello@Tidewell.example.com"), "auto-generated"),
    ],
)
def test_what_a_person_wrote_is_no_robots(post: Post, sort: str, to: Person, automatic: str | None) -> None:
    """RFC 3834, section 5: `Auto-Submitted` is not for what somebody wrote by hand."""
    assert read(worded(post(sort=sort, to=to)))["Auto-Submitted"] == automatic


# -- the same bytes ------------------------------------------------------------------------------------------


def test_every_try_is_the_same_to_the_byte(post: Post) -> None:
    enclose = [
        Enclose("Käfer.pdf", "application/pdf", ref="things:9"),
        Enclose("v.ics", "text/calendar; method=REQUEST", text="BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"),
    ]
    email = worded(post(pictures=2, enclose=enclose, stop="shopdesk-link:stop/17/news"))
    once = raw(email)
    by_generator = io.BytesIO()
    BytesGenerator(by_generator, mangle_from_=False).flatten(message(email).message(), linesep="\r\n")
    assert by_generator.getvalue() == once
    assert raw(Email.objects.get(pk=email.pk)) == once
    assert raw(worded(post(pictures=2, enclose=enclose))) != once
    parsed = message_from_bytes(once)
    boundaries = [part.get_boundary() for part in parsed.walk() if part.is_multipart()]
    assert len(set(boundaries)) == len(boundaries) == 3
    for boundary in boundaries:  # RFC 2046, 5.1.1: it stands in no part
        assert boundary is not None
        assert once.count(b"--" + boundary.encode()) == once.count(b"\r\n--" + boundary.encode())


def test_what_arrives_is_what_was_made(post: Post, settings: Any) -> None:
    text = "A line.\r.\n..two\n.\r\nFrom here\n" + "=_" * 60 + "\n" + "ß" * 500 + "\n" + "x" * 3000 + " \n\n"
    email = worded(post(pictures=1, text=text, stop="shopdesk-link:stop/17/news"))
    with open_postbox() as postbox:
        line = get_connection("shopdesk.mail.smtp.Smtp", host="127.0.0.1", port=postbox.port)
        assert line.send_messages([message(email)]) == 1
        line.close()
        (arrived,) = postbox.raw
    assert arrived == raw(email)
    assert "..two\n" in text_of(read(email))


@pytest.mark.parametrize("takes_it", [True, False])
def test_an_address_in_any_script_where_the_server_takes_it(post: Post, takes_it: bool) -> None:
    """RFC 6531, section 3.1: SMTPUTF8 is for the server to offer. RFC 6532: the field itself is UTF-8."""
    email = worded(post(to=Person("Zoë Åkesson", "zoë@bücher.example")))
    with open_postbox(smtputf8=takes_it) as postbox:
        line = get_connection("shopdesk.mail.smtp.Smtp", host="127.0.0.1", port=postbox.port)
        line.open()
        if takes_it:
            assert line.send_messages([message(email)]) == 1
            assert b"<zo\xc3\xab@xn--bcher-kva.example>\r\n" in postbox.raw[0].partition(b"\r\n\r\n")[0]
            assert postbox.envelopes[0] == ("hello@tidewell.example.com", ["zoë@xn--bcher-kva.example"])
        else:
            with pytest.raises(BadAddress, match=r"“zoë@xn--bcher-kva\.example” has letters before the @"):
                line.send_messages([message(email)])
            assert line.send_messages([message(worded(post()))]) == 1  # the line is as good as before
        line.close()


@pytest.mark.parametrize(
    "address",
    [
        "nobody",
        "a b@example.com",
        "x@example.com\nBcc: y@z",
        "@x",
        "x@",
        "a\u200bb@example.com",
        "x@" + "ü" * 70,
    ],
)
def test_an_address_that_is_none_is_said(post: Post, address: str) -> None:
    email = worded(post(to=Person("Ottoline", "ottoline@example.com")))
    email.to_address = address
    with pytest.raises(BadAddress, match="is not an email address"):
        message(email)


# -- how it is shown -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["<&> ", "木", "Ж", "é", "a ", "\N{CHAIR}"])
def test_the_largest_stays_under_a_hundred_kilobytes(post: Post, words: str) -> None:
    """As it travels, both texts and all fields together, without what it carries."""
    text = (words * 1000 + "\n") * 30
    email = worded(post(pictures=3, text=text, stop="shopdesk-link:stop/17/news"))
    parsed = read(email)
    texts = [one for one in parsed.walk() if one.get_content_maintype() == "text"]
    assert [one.get_content_subtype() for one in texts] == ["plain", "html"]
    fields = sum(len(f"{name}: {value}\r\n") for name, value in parsed.items())
    assert 10_000 < sum(len(one.as_bytes()) for one in texts) + fields < 100_000


def test_the_way_on_is_something_to_press_and_other_links_are_not(post: Post) -> None:
    email = post()
    html = words(email).html
    assert html.count('class="press"') == 1
    assert f'href="{KEY}"' in html


def test_a_list_of_emails_shows_the_first_words(post: Post) -> None:
    html = words(post(text=f"Stripped & <sanded>. {'word ' * 100}")).html
    preview = html.partition('class="preview"')[2].partition(">")[2].partition("</div>")[0]
    assert preview.startswith("Stripped &amp; &lt;sanded&gt;. word ")
    assert len(preview) < 170
