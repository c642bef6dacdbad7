"""From template and facts to subject, text and HTML: nothing that somebody wrote is markup."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from django.conf import settings as shop_settings
from lxml import html as lxml_html

from shopdesk.mail.models import Email
from shopdesk.mail.words import LETTER_BYTES, NoWords, Words, subject_of, words

pytestmark = pytest.mark.django_db

PAGE = "shopdesk-link:client/1/my/26-001/"
NASTY = (
    "<img src=x onerror=alert(1)> **bold** [go](http://example.org) # head\n"
    "- one\n\n1. two\n```\n&amp; {{ x }} {% if %}"
)


def said(kind: str, **context: Any) -> Words:
    return words(
        Email(
            kind=kind, context=context, from_name="Tidewell Bench", from_address="hello@tidewell.example.com"
        )
    )


def seen(page: str) -> str:
    """What a reader sees of a page of HTML under the letterhead, in one line."""
    body = lxml_html.document_fromstring(page.replace("<br>", " <br>")).find("body")
    assert body is not None
    for around in (*body.find_class("preview"), *body.find_class("shop")):
        around.getparent().remove(around)
    return " ".join(" ".join(body.itertext()).split())


def plain(text: str) -> str:
    """The words of a text without its addresses, bullets and quotation marks."""
    text = re.sub(r": shopdesk-link:\S+|\(shopdesk-link:[^)]*\)|\(mailto:[^)]*\)", "", text)
    return " ".join(re.sub(r"^(> ?|- |\d+\. )+", "", line).strip() for line in text.splitlines()).strip()


def squeezed(text: str) -> str:
    return re.sub(r"\W", "", text)


def test_what_somebody_wrote_is_never_markup(template: Any) -> None:
    made = said("note", name=NASTY, what="the *desk*", words=NASTY, items=[{"text": NASTY}], page=PAGE)
    page = lxml_html.document_fromstring(made.html)
    assert not page.xpath("//img | //h1 | //ol | //code | //pre | //em | //script")
    assert [link.get("href") for link in page.iter("a")] == [PAGE]
    assert [strong.text for strong in page.iter("strong")] == ["the *desk*"]
    assert len(page.xpath("//li")) == 1
    assert made.subject == "About the *desk*"
    for line in NASTY.splitlines():
        assert line in made.text
        assert line in unescape(made.html)
    assert "> - one\n>\n> 1. two\n" in made.text


def test_text_and_html_say_the_same(template: Any) -> None:
    template(
        "all",
        "Subject: All\n\n## {a}\n\nA *line*\nand another\\\nline, `code`, and [a link]"
        "({page}).\n"
        "\n1. {a}\n2. two\n\n   more of two\n\n---\n\n> quoted\n>\n> - deep {b}\n"
        "\n[Open]({page})\n",
    )
    made = said("all", a="one\ntwo", b="<3", page=PAGE)
    assert squeezed(plain(made.text)) == squeezed(seen(made.html))
    assert "a link (shopdesk-link:client/1/my/26-001/)." in made.text
    assert "\nOpen: shopdesk-link:client/1/my/26-001/\n" in made.text
    assert "A line\nand another\nline, code" in made.text
    assert "1. one\n   two\n\n2. two\n\n   more of two\n" in made.text
    assert "> quoted\n>\n> - deep <3\n" in made.text
    assert made.text.endswith("Tidewell Bench\nhello@tidewell.example.com\n")


def test_logic_in_a_part_sees_the_real_text(template: Any) -> None:
    parts = {
        "answer": "{% if how == 'accepted' %}Yes{% else %}No{% endif %}",
        "listed": "{{ empty|default:'none' }} {{ names|length }} {{ names|join:' & ' }} "
        "{% for k, v in facts.items %}{{ k }}={{ v }};{% endfor %}",
        "rest": "{{ count }} {{ deep.deeper.deepest }} {{ name|slice:':2' }}",
    }
    template("logic", "Subject: {answer}\n\n{listed} {rest}", parts)
    made = said(
        "logic",
        how="accepted",
        empty="",
        names=["*A*", "<b>"],
        facts={"_k_": "_v_", "_w_": ""},
        deep={"deeper": {"deepest": "*d*"}},
        count=3,
        name="*xy*",
    )
    assert made.subject == "Yes"
    assert made.text.startswith("none 2 *A* & <b> _k_=_v_;_w_=;")
    assert " 3 *d* *x\n" in made.text
    assert "<em>" not in made.html


def test_private_use_characters_cannot_stand_for_anothers_words(template: Any) -> None:
    made = said("note", name="\ue0001\ue001", what="x", words="secret \ue0000\ue001 \u202egnp", items=[])
    assert "Dear 1, a word about x:" in made.text
    assert "> secret 0 gnp" in made.text
    assert "\ue000" not in made.html + made.text + made.subject


def test_a_link_typed_by_somebody_opens_nothing(template: Any) -> None:
    """Only what stands under `page` may be a link: a placeholder typed into a message would let its reader
    into somebody else's page."""
    made = said("note", name="x", what=f"see {PAGE}", words=PAGE, items=[{"text": PAGE}], page=PAGE)
    assert made.text.count("shopdesk-link:") == 1
    assert made.html.count("shopdesk-link:") == 1
    assert "shopdesk-link:" not in made.subject


@pytest.mark.parametrize(
    "address",
    [
        "javascript:alert(1)",
        "https://elsewhere.example.org/",
        "//elsewhere.example.org",
        'shopdesk-link:client/1/my/?a"b',
        "",
    ],
)
def test_a_link_that_leads_elsewhere_stops_the_email(template: Any, address: str) -> None:
    template("link", "Subject: x\n\n[Open]({page})")
    with pytest.raises(NoWords, match="elsewhere"):
        said("link", page=address)


def test_links_home_and_to_a_person_are_fine(template: Any) -> None:
    template("link", "Subject: x\n\n[Open]({page}) [{m}](mailto:{m}) [call](tel:{phone})")
    home = f"{shop_settings.PUBLIC_URL}/my/"
    made = said("link", page=home, m="hello@tidewell.example.com", phone="555 0118?x=1")
    links = [link.get("href") for link in lxml_html.document_fromstring(made.html).iter("a")]
    assert links == [home, "mailto:hello@tidewell.example.com", "tel:555%200118%3Fx%3D1"]
    assert f"Open ({home}) hello@tidewell.example.com call (tel:" in made.text


@pytest.mark.parametrize(
    ("source", "complaint"),
    [
        ("Hello\n\nwords", "Subject"),
        ("Subject: only", "Subject"),
        ("Subject: x\n\n{% nonsense %}", "wrong"),
        ("Subject: x {\n\nwords", "wrong"),
        ("Subject: x\n\n{broken}", "wrong"),
        ("Subject: {nothing}\n\nwords", "nothing"),
        ("Subject: x\n\n{nothing}", "nothing"),
        ("", "Subject"),
    ],
)
def test_a_wrong_template_is_said_in_words(template: Any, source: str, complaint: str) -> None:
    template("bad", source, {"broken": "{% nonsense %}"})
    with pytest.raises(NoWords, match=complaint):
        said("bad")
    with pytest.raises(NoWords, match="no words"):
        said("never-written")
    email = Email(kind="never-written", from_name="T", from_address="t@example.com")
    assert subject_of(email) == "Never written"


def test_a_subject_is_one_short_line(template: Any) -> None:
    made = said(
        "note", name="x", what="a\r\nBcc: all@example.com\r\n\r\n" + "long " * 200, words="", items=[]
    )
    assert "\n" not in made.subject
    assert made.subject.startswith("About a Bcc: all@example.com long")
    assert len(made.subject) <= 200
    assert made.subject.endswith("…")


def test_a_message_of_five_thousand_lines_keeps_the_email_readable(template: Any) -> None:
    made = said(
        "note",
        name="x",
        what="y",
        words="\n".join(f"line {n} < & >" for n in range(5000)),
        items=[],
        page=PAGE,
    )
    assert made.size <= LETTER_BYTES
    assert "(shortened here)" in made.text
    assert "(shortened here)" in made.html
    assert f"Open your page: {PAGE}\n" in made.text


def test_styles_are_in_place_and_nothing_is_fetched(template: Any) -> None:
    made = said("note", name="x", what="y", words="z", items=[], page=PAGE)
    page = lxml_html.document_fromstring(made.html)
    assert all(paragraph.get("style") for paragraph in page.iter("p"))
    assert not page.xpath("//link | //img | //script | //*[@src]")
    assert "url(" not in made.html
