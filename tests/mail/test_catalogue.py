"""The catalogue of emails: whatever the code writes stands in it, can be filled, and reads."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction
from lxml import html as lxml_html

from shopdesk.base.who import Who
from shopdesk.mail import blanks, catalogue, own
from shopdesk.mail.actions import Person, write
from shopdesk.mail.catalogue import about, kinds, shipped
from shopdesk.mail.models import Email, OwnWords
from shopdesk.mail.words import BUNDLE, LETTER_BYTES, Words, bundled, words
from tests.mail.test_words import plain, seen, squeezed

pytestmark = pytest.mark.django_db
ROOT = Path(settings.BASE_DIR)
FOLDER = ROOT / "templates" / "emails"
OWNER = Who("owner", 1)
SHOP = Person("Tidewell Bench", "hello@tidewell.example.com")


def email_of(kind: str, context: Any, way: str = "email", **rest: Any) -> Email:
    return Email(
        kind=kind, way=way, context=context, sort=about(kind).sort, from_name=SHOP.name,
        from_address=SHOP.address, to_name="Ottoline Brask", to_address="ottoline@example.com", **rest,
    )  # fmt: skip


def written() -> dict[str, set[str]]:
    """The kinds that the code names where it writes an email, and to whom."""
    found: dict[str, set[str]] = {}
    called = {"to_client": "client", "to_shop": "shop", "write": ""}
    for path in (ROOT / "shopdesk").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            at = 0 if name == "write" else 1
            if name not in called or len(node.args) <= at or (name == "write" and not _to(node)):
                continue
            for one in ast.walk(node.args[at]):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    found.setdefault(one.value, set()).add(called[name])
    return found


def _to(call: ast.Call) -> bool:
    """`write` of the outbox, and not that of a file or a terminal."""
    return any(one.arg == "sender" for one in call.keywords)


def test_every_kind_that_the_code_writes_stands_in_it() -> None:
    named = written()
    assert {"quote", "visit-cancelled", "fresh-link", "client-message"} <= set(named)
    for kind, to in named.items():
        assert kind in kinds(), kind
        assert to <= {about(kind).to, ""}, kind


def test_each_kind_is_two_files_and_belongs_to_something_that_writes_it() -> None:
    assert sorted(path.stem for path in FOLDER.glob("*.md")) == kinds()
    code = "\n".join(path.read_text() for path in (ROOT / "shopdesk").rglob("*.py"))
    for kind in kinds():
        assert f'"{kind}"' in code, kind


def test_what_is_known_about_a_kind_is_said_in_sentences() -> None:
    for kind in kinds():
        it = about(kind)
        for sentence in (it.purpose, it.goes, *it.fields.values()):
            assert sentence.endswith((".", "?")), (kind, sentence)
            assert "!" not in sentence
        assert not it.title.endswith(".")


def test_sorts_are_what_they_are_to_their_reader() -> None:
    sorts = {kind: str(about(kind).sort) for kind in kinds()}
    for kind in (
        "quote",
        "receipt",
        "invoice",
        "visit",
        "change",
        "booked",
        "ready",
        "fresh-link",
        "cancelled",
    ):
        assert sorts[kind] == "necessary", kind
    assert {kind for kind, sort in sorts.items() if sort == "answer"} == {"question", "client-message"}
    assert {kind for kind, sort in sorts.items() if sort == "news"} == {"progress"}
    assert {kind for kind, sort in sorts.items() if sort == "reminder"} == {
        "quote-expiring", "deposit-due", "sample-waiting", "visit-reminder", "pickup-waiting", "balance-due",
        "settling-in",
    }  # fmt: skip
    waits = {kind for kind in kinds() if about(kind).can_wait}
    switched = {kind for kind in kinds() if about(kind).can_be_switched_off}
    assert waits == switched - {"visit-reminder"}  # a slot tomorrow cannot wait for the morning after it
    for kind in kinds():
        if about(kind).to == "shop":
            assert not about(kind).can_wait, kind
            assert sorts[kind] in ("necessary", "answer"), kind


def test_an_email_is_written_with_the_sort_of_its_kind() -> None:
    with transaction.atomic():
        made = [
            write(kind, to=SHOP, sender=SHOP, context={}, thread="x")
            for kind in ("progress", "visit-reminder", "a kind of a test")
        ]
    assert [(one.sort, one.can_wait) for one in made] == [
        ("news", True), ("reminder", False), ("necessary", False),
    ]  # fmt: skip


@pytest.mark.parametrize("kind", kinds())
def test_the_words_use_only_fields_that_there_are_and_could_be_the_owners(kind: str) -> None:
    it, source = about(kind), shipped(kind)
    assert own.faults_in(kind, source.subject, source.body) == ()
    assert set(it.required) <= set(it.fields)
    assert set(it.parts) <= set(it.fields)
    assert set(it.required) <= set(blanks.names_in(source.body))
    assert "{%" not in source.subject + source.body


@pytest.mark.parametrize("kind", kinds())
def test_a_sample_knows_whatever_its_words_ask_for(kind: str) -> None:
    """Every name that a field or a part asks for is in one of the samples, apart from what is there only at
    times."""
    it = about(kind)
    known = {name for sample in it.samples.values() for name in sample} | {"by_email", "emails"}
    for name in it.fields:
        if name not in it.parts:
            assert name in known, (kind, name)
    tags = " ".join(re.findall(r"\{[{%](.*?)[%}]\}", " ".join(it.parts.values())))
    words_ = r"if|elif|else|endif|for|in|empty|endfor|and|not|or|pluralize"
    bare = re.sub(r"'[^']*'|\"[^\"]*\"|\.\w+|\|\w+", " ", tags)
    loops = set(re.findall(r"for (\w+) in", tags))
    asked = set(re.findall(r"[a-z_]+", bare)) - loops - set(words_.split("|"))
    assert asked <= known, (kind, asked - known)


@pytest.mark.parametrize("way", ["email", "tell"])
@pytest.mark.parametrize("kind", kinds())
def test_every_kind_reads_with_each_of_its_samples(kind: str, way: str) -> None:
    for says, sample in about(kind).samples.items():
        made = words(email_of(kind, sample, way))
        for text in (made.subject, made.text, seen(made.html)):
            assert not re.search(r"[{}\ue000-\uf8ff]|None|\*\*", text), (says, text)
        ugly = re.search(r"\w [.,;:!?](\s|$)|\(\s*\)|“”|\n\n\n| \n", f"{made.subject}\n{made.text}")
        assert ugly is None, (says, made.text)
        assert squeezed(plain(made.text)) == squeezed(seen(made.html))
        assert made.size < LETTER_BYTES


@pytest.mark.parametrize("kind", kinds())
def test_nothing_that_people_wrote_is_markup_in_any_kind(kind: str) -> None:
    def nasty(value: Any, key: str = "") -> Any:
        if isinstance(value, str) and value and key not in ("page", "what", "change", "answer"):
            return "<b>*x*</b> {name} [a](http://elsewhere.example.org)"
        if isinstance(value, dict):
            return {name: nasty(one, name) for name, one in value.items()}
        return [nasty(one) for one in value] if isinstance(value, list) else value

    for sample in about(kind).samples.values():
        made = words(email_of(kind, nasty(dict(sample))))
        page = lxml_html.document_fromstring(made.html)
        assert not page.xpath("//body//b | //body//em")
        assert not [link for link in page.iter("a") if "elsewhere" in str(link.get("href"))]
        assert squeezed(plain(made.text)) == squeezed(seen(made.html))


@pytest.mark.parametrize("kind", kinds())
def test_an_email_whose_facts_are_gone_loses_lines_and_not_its_form(kind: str) -> None:
    """With nothing but a page, for words that were written down before a field was thought of."""
    made = words(email_of(kind, {"page": "shopdesk-link:sample/my/", "words": "x", "emails": "x"}))
    assert "{" not in made.text
    assert "> \n" not in made.text
    assert "- \n" not in made.text


# -- lines, parts, and what becomes of them when they are empty ---------------------------------------------


def said(template: Any, body: str, parts: dict[str, str] | None = None, **context: Any) -> str:
    template("fill", f"Subject: x\n\n{body}", parts)
    text = words(email_of("fill", {"page": "shopdesk-link:sample/my/", **context})).text
    return text.partition("\n\nTidewell Bench")[0]


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("one\n\n{no}\n\ntwo", "one\n\ntwo"),
        ("one\n\n> {no}\n\n- {no}\n- {yes}\n\ntwo", "one\n\n- Y\n\ntwo"),
        ("**{no}**{no}\n\ntwo", "two"),
        ("a {no} b", "a b"),
        ("a {no}, b", "a, b"),
        ("a {no}.", "a."),
        ("{no} b", "b"),
        ("a {no}", "a"),
        ("a{no}b", "ab"),
        ("a {no} {no} b", "a b"),
        ("{yes} {no} {yes}", "Y Y"),
        ("pay: {list}", "pay:\n\n- one\n- two"),
        ("{list} thanks", "- one\n- two\n\nthanks"),
        ("{list}\nthanks", "- one\n- two\n\nthanks"),
        ("before {list} after {no}.", "before\n\n- one\n- two\n\nafter."),
        ("> {list}", "> - one\n> - two"),
        ("> see\n> {list}\n> end", "> see\n>\n> - one\n> - two\n>\n> end"),
        ("- {list}", "- - one\n  - two"),
        ("{paragraphs}", "one\n\n> two\n\nthree"),
        ("\\{yes} and {yes}", "{yes} and Y"),
        ("go to {page} now", "go to shopdesk-link:sample/my/ now"),
    ],
)
def test_a_line_of_empty_fields_goes_and_a_part_of_several_lines_stands_by_itself(
    template: Any, body: str, text: str
) -> None:
    parts = {
        "list": "- one\n- two\n",
        "paragraphs": "one\n\n> two\n\nthree",
        "no": "{% if yes == 'n' %}x{% endif %}",
    }
    assert said(template, body, parts, yes="Y") == text


def test_a_list_of_what_people_wrote_is_paragraphs(template: Any) -> None:
    assert said(template, "{note}", note=["- one", "", "# two"]) == "- one\n\n# two"


# -- several in one ----------------------------------------------------------------------------------------


def some(*kinds_: str, **context: Any) -> list[Email]:
    return [email_of(kind, {**next(iter(about(kind).samples.values())), **context}) for kind in kinds_]


def test_several_emails_are_one_with_a_heading_for_each_and_one_signature() -> None:
    emails = some("progress", "quote-expiring", pieces="writing desk")
    made = bundled(emails)
    assert made.subject == "Two things about your writing desk"
    page = lxml_html.document_fromstring(made.html)
    assert [one.text for one in page.iter("h2")] == [words(one).subject for one in emails]
    assert made.text.count("Tidewell Bench") == 1
    assert made.text.startswith(
        "Two things about your writing desk:\n\nFrom the bench: your writing desk\n\n"
    )
    for one in emails:
        body = words(one).text.partition("\n\nTidewell Bench")[0]
        assert body in made.text
    assert squeezed(plain(made.text)) == squeezed(seen(made.html))


def test_the_subject_of_several_lists_theirs_where_they_are_short_or_says_how_many() -> None:
    assert bundled(some("collected", "checked-in", pieces="desk")).subject == (
        "Thank you: your desk · Safely here: your desk"
    )
    apart = some("progress", pieces="writing desk") + some("settling-in", "quote-expiring", pieces="mirror")
    assert bundled(apart).subject == "Three things from Tidewell Bench"


def test_what_somebody_wrote_in_a_subject_is_no_markup_in_its_heading() -> None:
    made = bundled(some("progress", "collected", pieces="*desk* # <b>x</b>"))
    page = lxml_html.document_fromstring(made.html)
    assert not page.xpath("//h2//em | //h2//b")
    assert "*desk* # <b>x</b>" in page.xpath("//h2")[0].text


def test_many_long_ones_still_fit_and_each_keeps_the_way_to_its_page() -> None:
    emails = some(*["progress"] * 12, items=[{"text": "so it goes < & >\n" * 900, "pictures": 0}])
    made = bundled(emails)
    assert made.size <= LETTER_BYTES
    assert made.html.count('href="shopdesk-link:sample/my/26-014/"') == 12
    everything = some(*["quote-accepted"] * 90)
    made = bundled(everything)
    assert made.size <= LETTER_BYTES
    assert len(lxml_html.document_fromstring(made.html).xpath("//h2")) == 90


def test_how_to_stop_them_stands_once_for_each_sort() -> None:
    emails = some("progress", "collected", "settling-in")
    for one in emails:
        one.stop = f"shopdesk-link:stop/1/{one.sort}"
    made = bundled(emails)
    assert made.text.count("shopdesk-link:stop/1/news") == 1
    assert made.text.count("shopdesk-link:stop/1/reminder") == 1


def test_own_words_hold_for_one_among_several_and_around_them() -> None:
    now = Email(kind="x").made_at
    OwnWords.objects.create(kind="collected", subject="Bye, {pieces}", body="Farewell.", changed_at=now)
    OwnWords.objects.create(
        kind=BUNDLE, subject="News, {name}", body="All at once.\n\n{emails}", changed_at=now
    )
    made: Words = bundled(some("progress", "collected", pieces="desk"))
    assert made.subject == "News, Ottoline Brask"
    assert made.text.startswith("All at once.\n\nFrom the bench: your desk\n\n")
    assert "Bye, desk\n\nFarewell.\n" in made.text


def test_one_statement_for_the_words_of_however_many(django_assert_num_queries: Any) -> None:
    emails = some("progress", "collected", "settling-in", "quote-expiring")
    with django_assert_num_queries(1):
        bundled(emails)
    with django_assert_num_queries(1):
        words(emails[0])
    sources = own.Sources()
    with django_assert_num_queries(1):
        for one in emails:
            words(one, sources)


def test_a_change_of_the_shops_words_is_noticed_at_the_next_email() -> None:
    email = some("collected")[0]
    before = words(email).subject
    own.keep("collected", "Bye", "Farewell.", None, OWNER)
    assert words(email).subject == "Bye"
    OwnWords.objects.update(subject="Bye bye")
    assert words(email).subject == "Bye bye"
    OwnWords.objects.all().delete()
    assert words(email).subject == before


def test_a_file_that_changes_is_read_anew(template: Any) -> None:
    template("fill", "Subject: one\n\nx")
    assert catalogue.shipped("fill").subject == "one"
    template("fill", "Subject: two, longer\n\nx")
    assert catalogue.shipped("fill").subject == "two, longer"
